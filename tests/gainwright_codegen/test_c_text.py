"""Small pieces of C text."""

from __future__ import annotations

import random
import textwrap

from gainwright_codegen.c_text import LINE_LENGTH, array

ITEMS = ["-1", "12U", "{1, -2, 345}", "(a - b)", '"two words"', "x" * 60, "y" * 130]


def test_arrays_are_filled_as_the_standard_library_fills():
    chance = random.Random(1)
    for _ in range(300):
        items = chance.choices(ITEMS, k=chance.randrange(60))
        indent = chance.choice((0, 4, 8))
        filled = textwrap.fill(
            ", ".join(items), LINE_LENGTH - indent, break_long_words=False, break_on_hyphens=False
        )
        pad = " " * indent
        assert array(items, indent) == "{\n" + textwrap.indent(filled, pad) + "\n}"
