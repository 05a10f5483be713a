"""Words of a ladder: the C is the Python reference, bit for bit, whatever the tables hold."""

from __future__ import annotations

from functools import cache

from hypothesis import given
from hypothesis import strategies as st

from gainwright.fixed.falling import FallingWords
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.sources import RUNTIME_DIRECTORY

_PROTOTYPE = "int32_t word_of(const uint32_t *w, uint32_t shift, uint32_t most, uint32_t k);"
_PROBE = f"""
#include "gw_ladder.h"
{_PROTOTYPE}
int32_t word_of(const uint32_t *w, uint32_t shift, uint32_t most, uint32_t k)
{{
    const gw_ladder ladder = {{&w[4], &w[12], &w[0], shift, most}};
    return gw_ladder_word(&ladder, k);
}}
"""
WORD = st.integers(0, 2**32 - 1)


@cache
def exported():
    sources = read_sources(RUNTIME_DIRECTORY, "gw_ladder.h") | {"probe.c": _PROBE.encode()}
    return compile_and_load(sources, ("gw_ladder.h",), name="ladder", also=_PROTOTYPE)


@given(
    st.lists(WORD, min_size=28, max_size=28), st.integers(0, 16), st.integers(0, 2**31 - 1),
    st.integers(0, 127),
)  # fmt: skip
def test_c_is_the_reference(words, shift, most, k):
    ffi, library = exported()
    reference = FallingWords(tuple(words[4:12]), tuple(words[12:]), tuple(words[:4]), shift, most)
    got = library.word_of(ffi.new("uint32_t[28]", words), shift, most, k)
    assert got == reference.word(k)
