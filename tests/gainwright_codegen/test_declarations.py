"""C headers as cffi reads them: sizes and conditional members are those of the compiled files."""

from __future__ import annotations

import cffi
import pytest

from gainwright_codegen.host import compile_and_load
from gainwright_codegen.host.declarations import declarations

SIZES = b"#ifndef SIZES_H\n#define SIZES_H\n#define PLACES (2 + 1)\n#endif\n"
HEADER = b"""
#include <stdint.h>
#include "sizes.h"
typedef struct {
    int32_t place[PLACES];
#ifdef WITH_MORE
    int64_t more;
#endif
} record;
static inline int32_t inside(const record *r)
{
    if (r->place[0] > 0) { return 1; }
    return 0;
}
extern const char name[sizeof "abc"];
int32_t record_size(void);
"""
SOURCE = b"""
#include "record.h"
const char name[] = "abc";
int32_t record_size(void) { return (int32_t)sizeof(record) + inside(0 ? 0 : &(record){{0}}); }
"""
FILES = {"sizes.h": SIZES, "record.h": HEADER, "record.c": SOURCE}


@pytest.mark.parametrize("flags", [(), ("-DWITH_MORE",)])
def test_a_structure_has_the_size_that_the_compiler_gave_it(flags):
    ffi, library = compile_and_load(FILES, ["record.h"], flags, name="record")
    assert ffi.sizeof("record") == library.record_size()
    assert ffi.string(library.name) == b"abc"


def test_functions_with_a_body_are_left_out():
    text = declarations(FILES, ["record.h"])
    assert "inside" not in text and "record_size" in text
    cffi.FFI().cdef(text)


def test_a_header_that_is_not_there_is_named():
    with pytest.raises(ValueError, match=r"sizes\.h"):
        declarations({"record.h": HEADER}, ["record.h"])


def test_what_the_preprocessor_refuses_is_no_declaration(capfd):
    with pytest.raises(ValueError, match=r"a\.h"):
        declarations({"a.h": b"#error wrong version\n"}, ["a.h"])
    assert "a.h:1 error: wrong version" in capfd.readouterr().err
