"""The self-test of a bundle: golden inputs through the exported code, and what must come out.

:mod:`domain` says which values matter, :mod:`search` finds a tick for every row (:mod:`samples`, by
the compiled sequencer, :mod:`explorer`) and for every part of a condition (:mod:`decisions`). Each
of the modules ``..._c`` writes one part of the program. What is right comes from the Python
reference, but for the whole rehearsal (:mod:`rehearsal_c`): it must go as on the computer of the
export.
"""
