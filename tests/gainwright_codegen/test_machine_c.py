"""Tables of a machine keep their values, whatever their size, and compile without a warning."""

from __future__ import annotations

import pytest

from gainwright_codegen.axis_c.layout import MachineConstant, MachineTable, MachineTables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.c_text import RUNTIME_VERSION
from gainwright_codegen.host import compile_shared, load_library

from ..shared.compilers import compiler_parameters

STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")
EDGES_32 = (-(2**31), -(2**31) + 1, -32769, -32768, -1, 0, 1, 32767, 32768, 2**31 - 1)
EDGES_U32 = (0, 32768, 2**31 - 1, 2**31, 2**32 - 1)
EDGES_64 = (-(2**31) - 1, -(2**62), 2**32, 2**62)
POINT_H = (
    "#include <stdint.h>\n#define GW_TRIAL_FINGERPRINT 0xcdcdcdcdU\n"
    f"#define GW_RUNTIME_VERSION {RUNTIME_VERSION}\n"
    "typedef struct { int32_t x; const int16_t *row; } point;\n"
)

MACHINE = MachineTables(
    name="press",
    title='An invented press, "quoted" and 20 µm */ fine ??/',
    digest="ab" * 32,
    control_tick_us=62.5,
    rated_torque_nm=3.2,
    top_speed_rad_per_s=314.0,
    includes=("point.h",),
    constants=(MachineConstant("GW_SIZE", 3, "A size."),),
    tables=(
        MachineTable("int32_t", "edges_32", EDGES_32, "Q4.24", (str(len(EDGES_32)),)),
        MachineTable("uint32_t", "edges_u32", EDGES_U32, "counts", (str(len(EDGES_U32)),)),
        MachineTable("int64_t", "edges_64", EDGES_64, "", (str(len(EDGES_64)),)),
        MachineTable("int32_t", "single", -40000, "One number"),
        MachineTable("int32_t", "grid", ((1, 2, 3), (4, 5, 6)), "rows", ("2", "GW_SIZE")),
        MachineTable("int16_t", "hidden", (7, -32768), "private", ("2",), private=True),
        MachineTable("point", "points", ((1, "hidden"), (2, "hidden")), "", ("2",)),
        MachineTable("int32_t", "long_one", tuple(range(500)), "many", ("500",)),
    ),
    trial_digest="cd" * 32,
)
CDEF = """
typedef struct { int32_t x; const int16_t *row; } point;
extern const int32_t edges_32[10]; extern const uint32_t edges_u32[5];
extern const int64_t edges_64[4]; extern int32_t single;
extern const int32_t grid[2][3]; extern const point points[2];
extern const int32_t long_one[500];
"""


@pytest.mark.usefixtures("scratch_cache")
@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang"))
def test_values_arrive(monkeypatch, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    sources = machine_sources(MACHINE) | {"point.h": POINT_H}
    _, library = load_library(compile_shared(sources, STRICT, "machine"), CDEF)
    assert tuple(library.edges_32) == EDGES_32
    assert tuple(library.edges_u32) == EDGES_U32
    assert tuple(library.edges_64) == EDGES_64
    assert library.single == -40000
    assert [list(row) for row in library.grid] == [[1, 2, 3], [4, 5, 6]]
    assert [(point.x, point.row[0], point.row[1]) for point in library.points] == [
        (1, 7, -32768),
        (2, 7, -32768),
    ]
    assert list(library.long_one) == list(range(500))


def test_header_states_scales_and_hides_private_tables():
    files = {name: text.decode("ascii") for name, text in machine_sources(MACHINE).items()}
    header, source = files["gw_machine_press.h"], files["gw_machine_press.c"]
    assert "3.2 Nm" in header and "314.0 rad/s" in header and "62.5 us" in header
    assert "hidden" not in header and "static const int16_t hidden[2]" in source
    assert "extern const int32_t grid[2][GW_SIZE];" in header
    assert max(len(line) for text in files.values() for line in text.splitlines()) <= 100
