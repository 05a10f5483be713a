"""Functions of expressions: a writer that several threads share mixes nothing."""

from __future__ import annotations

from gainwright.language.parse import parse
from gainwright.semantics.python_code import ARRAY, CodeWriter

WRITER = CodeWriter(["idle"], (), ARRAY)
MINE = tuple(map(parse, ("speed + 1 > 3 and speed + 1 < 9", "torque * 2 == speed + 1")))
THEIRS = (parse("permit - 1 > 0 and permit - 1 < 4"),)


class InterleavedWithAnother(tuple):
    """Whenever it is read, another thread writes a function meanwhile."""

    def __iter__(self):
        for expression in tuple.__iter__(self):
            WRITER.source(THEIRS)
            yield expression
            WRITER.source(THEIRS)


def test_a_function_is_the_same_while_another_is_written():
    """A proof by mutants ended with a name that its function had from another thread."""
    assert WRITER.source(InterleavedWithAnother(MINE)) == WRITER.source(MINE)
