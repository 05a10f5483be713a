"""The exported C on real instruction sets: does it give the same, and what does it cost?

Order of work: :mod:`targets` says which processors there are, :mod:`image` compiles and links a
bundle for one of them, :mod:`elf` reads what came out, :mod:`emulator` runs it and counts,
:mod:`workload` says what is run, :mod:`report` puts the figures side by side.
"""
