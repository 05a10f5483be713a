"""Golden vectors: input sequences that visit the rows of a trial, and what must come out.

Order of work: :mod:`domain` says which input values matter, :mod:`search` finds short sequences
that visit every row it can, :mod:`scenario` runs them on the Python reference, :mod:`selftest_c`
writes vectors and expected checksums as the self-test program of a bundle.
"""
