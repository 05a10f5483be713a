"""Proof about the C source that is exported: no undefined behaviour, ranges and values as promised.

Three methods that know nothing of each other look at the same files: a bounded model checker, an
abstract interpreter, and runs under a sanitizer. Each of them is also given inserted defects in the
same run, and is not believed if it misses one.
"""

from gainwright_proof.c_checks.checks import check_sources

__all__ = ["check_sources"]
