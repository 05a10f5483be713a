"""Golden vectors: input sequences that visit the rows of a trial, and what must come out.

Order of work: :mod:`domain` says which values matter, :mod:`search` finds short sequences from
reset (on the compiled sequencer, :mod:`explorer`) and :mod:`selection` thins them out,
:mod:`samples` adds single ticks from anywhere, :mod:`scenario` computes what each must give on the
Python reference, :mod:`selftest_c` and :mod:`detector_c` write the self-test program of a bundle.
"""
