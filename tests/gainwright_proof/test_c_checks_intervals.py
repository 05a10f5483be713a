"""Interval analysis: small functions by hand, defects of every kind, random functions that run."""

from __future__ import annotations

import random
import subprocess

import pytest

from gainwright_codegen.host import compile_program
from gainwright_codegen.sources import RUNTIME_DIRECTORY
from gainwright_proof.c_checks.c_source.interpreter import Interpreter
from gainwright_proof.c_checks.c_source.places import Promises
from gainwright_proof.c_checks.c_source.rows import RangeRow
from gainwright_proof.c_checks.c_source.types import Program
from gainwright_proof.c_checks.defects import PRODUCT
from gainwright_proof.c_checks.intervals import (
    UnsupportedC,
    block_sum,
    machine_ranges,
    source_ranges,
)
from gainwright_proof.c_checks.workspace import preprocessed

from ..shared.compilers import SANITIZED

MIN32, MAX32 = -(2**31), 2**31 - 1
TYPES = """
typedef short int16_t; typedef int int32_t; typedef long long int64_t;
typedef unsigned int uint32_t; typedef unsigned long long uint64_t;
"""
NOTHING_PROMISED = Promises({}, {})


def analysed(text: str, arguments=None, promises: Promises = NOTHING_PROMISED):
    """Return (range of the result, rows) of the function ``f`` of a text."""
    interpreter = Interpreter(Program.parse(TYPES + text), promises)
    result = interpreter.run("f", arguments)
    return result, interpreter.rows.rows()


def all_kept(rows: tuple[RangeRow, ...]) -> bool:
    return all(row.kept for row in rows)


# --- By hand ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("return a + b;", (-7, 14)),
        ("return a - b;", (-9, 12)),
        ("return a * b;", (-20, 40)),
        ("return a * a;", (0, 100)),
        ("return -a;", (-10, 5)),
        ("return (a >= 0) ? (a >> 1) : (-1 - ((-1 - a) >> 1));", (-3, 5)),
        ("return (a < b) ? a : b;", (-5, 4)),
        ("return (a > 3) ? a : ((a < -2) ? -2 : a);", (-2, 10)),
        ("if (a > 3) { return 7; } return a;", (-5, 7)),
        ("int32_t s = 0; int32_t i; for (i = 0; i < 3; i++) { s += a; } return s;", (-15, 30)),
        ("return a & 6;", (0, 6)),
        ("return (int32_t)(((uint32_t)a >> 3) & 1U);", (0, 1)),
        ("return (int32_t)((uint64_t)a & 255ULL);", (0, 255)),
        ("return (a > 2 && b < 0) ? a * b : 0;", (-20, 0)),
        ("return ((uint32_t)a > 5U) ? a : 0;", (-5, 10)),
        ("return !(a < 11);", (0, 0)),
        ("return a == 4;", (0, 1)),
    ],
)
def test_ranges_by_hand(body, expected):
    """a is -5 to 10, b is -2 to 4."""
    text = f"int32_t f(int32_t a, int32_t b) {{ (void)b; {body} }}"
    result, rows = analysed(text, {"a": (-5, 10), "b": (-2, 4)})
    assert result == expected
    assert all_kept(rows)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("int32_t f(int32_t a) { return a + 1; }", "result in int32_t"),
        ("int32_t f(int32_t a) { return -a; }", "result in int32_t"),
        ("int32_t f(int32_t a) { return 0 - a; }", "result in int32_t"),
        ("int64_t f(int32_t a) { return (int64_t)(a * a); }", "result in int32_t"),
        ("int64_t f(int64_t a) { return a * 2; }", "result in int64_t"),
        ("int32_t f(int32_t a) { a++; return a; }", "result in int32_t"),
        ("int32_t f(int16_t a) { return a << 20; }", "shifted value"),
        ("uint32_t f(uint32_t a) { return a - 1U; }", "result in uint32_t"),
        ("int32_t f(int32_t a) { return a >> 1; }", "shifted value"),
        ("int32_t f(uint32_t b) { return 1 >> b; }", "shift count"),
        ("int32_t f(int64_t a) { return (int32_t)a; }", "converted to int32_t"),
        ("int32_t f(int64_t a) { int32_t b = a; return b; }", "converted to int32_t"),
        ("int32_t f(uint32_t a) { return a; }", "converted to int32_t"),
        ("uint32_t f(int32_t a) { return a; }", "converted to uint32_t"),
        ("int32_t f(int32_t a, uint32_t b) { return a < b; }", "converted to uint32_t"),
        ("int32_t f(void) { int32_t a = 3000000000; return a; }", "converted to int32_t"),
        ("int32_t f(void) { return 2147483647 + 1; }", "result in int32_t"),
    ],
)
def test_every_kind_of_defect_is_noticed(text, kind):
    """ISO/IEC 9899:1999 6.5p5, 6.5.7p3 to p5, 6.3.1.3p3 and unsigned results that wrap."""
    _, rows = analysed(text.replace("f(void)", "f(int32_t unused)"))
    broken = {row.kind for row in rows if not row.kept}
    assert kind in broken
    assert all(row.margin_bits < 0 for row in rows if not row.kept)


STRUCTURE = """
typedef struct { int32_t table[4]; int32_t at; int32_t sum; } ring;
typedef struct { const int16_t *data; int32_t count; } view;
"""
PROMISED = Promises({"ring": {"at": (0, 3), "sum": (-9, 9)}}, {("view", "data"): "count"})


@pytest.mark.parametrize(
    ("body", "is_kept"),
    [
        ("r->at = (r->at < 3) ? (r->at + 1) : 0;", True),
        ("r->at += 1;", False),
        ("r->at = r->at * 0;", True),
        ("r->sum = r->at * 4;", False),
        ("r->sum = r->at * 3;", True),
        ("r->sum = r->table[3] & 7;", True),
        ("r->table[2] = r->sum;", True),
    ],
)
def test_promised_ranges_must_be_kept(body, is_kept):
    text = f"{STRUCTURE} void f(ring *r) {{ {body} }}"
    _, rows = analysed(text, promises=PROMISED)
    assert all_kept(rows) is is_kept
    assert is_kept or {row.kind for row in rows if not row.kept} == {"promised range"}


@pytest.mark.parametrize(
    ("guard", "is_kept"),
    [
        ("(k >= 0) && (k < v->count)", True),
        ("(0 <= k) && (v->count > k)", True),
        ("(k >= 0) && (k <= v->count)", False),
        ("k < v->count", False),
        ("k >= 0", False),
        ("!((k < 0) || (k >= v->count))", True),
    ],
)
def test_an_index_must_be_seen_below_the_length(guard, is_kept):
    body = f"if ({guard}) {{ return v->data[k]; }} return 0;"
    text = f"{STRUCTURE} int32_t f(view *v, int32_t k) {{ {body} }}"
    _, rows = analysed(text, promises=PROMISED)
    assert all_kept(rows) is is_kept


def test_a_bound_is_forgotten_when_the_index_changes():
    text = (
        f"{STRUCTURE} int32_t f(view *v, int32_t k) {{ if (k >= 0 && k < v->count) "
        "{ k += 1; return v->data[k]; } return 0; }"
    )
    _, rows = analysed(text, promises=PROMISED)
    assert [row.kind for row in rows if not row.kept] == ["index below the length"]


@pytest.mark.parametrize("index", ["4", "-1", "r->at"])
def test_an_index_outside_an_array_is_noticed(index):
    text = f"{STRUCTURE} int32_t f(ring *r) {{ int32_t k = {index}; return r->table[k]; }}"
    promises = Promises({"ring": {"at": (4, 4)}}, {})
    _, rows = analysed(text, promises=promises)
    assert [row.kind for row in rows if not row.kept] == ["index"]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("while (a > 0) { a -= 1; } return a;", "While"),
        ("int32_t i; for (i = 0; i < a; i++) { a = 1; } return a;", "length is not known"),
        ("int32_t x; return x;", "before it is written"),
        ("return g(a);", "function g is not in this source"),
        ("return a / 2;", "operator /"),
        ("switch (a) { default: return 0; }", "Switch"),
        ("double d = 1.5; return (int32_t)d;", "type double"),
        ("return a +;", "source:"),
    ],
)
def test_what_it_does_not_understand_it_refuses(body, words):
    with pytest.raises(UnsupportedC, match=words):
        analysed(f"int32_t f(int32_t a) {{ {body} }}")


def test_recursion_is_refused():
    with pytest.raises(UnsupportedC, match="too deeply"):
        analysed("int32_t f(int32_t a) { return f(a); }")


# --- Random functions -------------------------------------------------------------------------

NAMES = ("a", "b", "c")
SPANS = ((-1000, 1000), (0, 65535), (MIN32, MAX32), (-3, 2))


def random_expression(rng: random.Random, depth: int) -> str:
    """C of int64_t over a, b, c, with everything that the analysis follows."""
    if depth == 0:
        return rng.choice([*NAMES, str(rng.randint(-5, 300))])
    x, y = (f"({random_expression(rng, depth - 1)})" for _ in range(2))
    test = f"({x} {rng.choice(['<', '<=', '>', '>=', '==', '!='])} {y})"
    other = f"({random_expression(rng, depth - 1)})"
    return rng.choice(
        [
            f"{x} + {y}",
            f"{x} - {y}",
            f"(int64_t){x} * {y}",
            f"{test} ? {x} : {y}",
            f"{test} ? {other} : {y}",
            f"clamp({x}, {rng.randint(-99, 0)}, {rng.randint(0, 99999)})",
            f"down({x}, {rng.randint(0, 20)}U)",
            f"{x} & {rng.choice([1, 255, 4095])}",
            f"({test} && ({other} > 3)) || !{test}",
            f"-{x}",
        ]
    )


HELPERS = """
static int64_t clamp(int64_t v, int64_t low, int64_t high)
{ return (v < low) ? low : ((v > high) ? high : v); }
static int64_t down(int64_t v, uint32_t bits)
{ return (v >= 0) ? (v >> bits) : (-1 - ((-1 - v) >> bits)); }
"""


def random_function(rng: random.Random, name: str) -> str:
    first, second = random_expression(rng, 3), random_expression(rng, 2)
    return (
        f"int64_t {name}(int32_t a, int32_t b, int32_t c)\n{{\n"
        f"    int64_t x = {first};\n    int64_t i;\n"
        f"    if (x > {rng.randint(-50, 50)}) {{ x = {second}; }}\n"
        f"    for (i = 0; i < {rng.randint(1, 3)}; i++) {{ x = clamp(x + a, -100000, x); }}\n"
        "    return x;\n}\n"
    )


RUNNER = """
#include <stdint.h>
#include <stdio.h>
static uint64_t state = 88172645463325252u;
static int32_t any(int64_t low, int64_t high)
{
    state ^= state << 13; state ^= state >> 7; state ^= state << 17;
    if (state % 7u == 0u) { return (int32_t)low; }
    if (state % 7u == 1u) { return (int32_t)high; }
    return (int32_t)(low + (int64_t)((state >> 11) % (uint64_t)(high - low + 1)));
}
"""


@pytest.mark.parametrize("seed", range(3))
def test_random_functions_stay_in_their_ranges(seed, undefined_behaviour_ends_the_run):
    """Those whose rows are all kept run without a sanitizer report, inside the derived range."""
    rng = random.Random(seed)
    kept = []
    while len(kept) < 60:
        text = random_function(rng, "f")
        spans = dict(zip(NAMES, rng.choices(SPANS, k=3), strict=True))
        result, rows = analysed(HELPERS + text, spans)
        if all_kept(rows):
            kept.append((text, spans, result))
    assert len({result for *_, result in kept}) > 20
    program = [RUNNER, HELPERS]
    body = []
    for number, (text, spans, _) in enumerate(kept):
        program.append(text.replace(" f(", f" f{number}(", 1))
        calls = ", ".join(f"any({low}LL, {high}LL)" for low, high in spans.values())
        body.append(
            f"    low = INT64_MAX; high = INT64_MIN;\n"
            f"    for (k = 0; k < 3000; k++) {{ v = f{number}({calls});"
            " if (v < low) { low = v; } if (v > high) { high = v; } }\n"
            '    printf("%lld %lld\\n", (long long)low, (long long)high);\n'
        )
    main = "int main(void)\n{\n    int64_t low, high, v; int k;\n" + "".join(body)
    program.append(main + "    return 0;\n}\n")
    path = compile_program({"random.c": "\n".join(program)}, ("-O1", *SANITIZED), "random_ranges")
    run = subprocess.run([str(path)], capture_output=True, text=True, check=False)
    assert (run.returncode, run.stderr) == (0, ""), f"seed {seed}"
    tight = 0
    for line, (text, spans, result) in zip(run.stdout.splitlines(), kept, strict=True):
        low, high = map(int, line.split())
        assert result[0] <= low <= high <= result[1], f"seed {seed}: {spans}\n{text}"
        tight += (low, high) == result
    assert tight >= 5, "an analysis that says nothing would pass the rest of this test"


# --- The source that ships --------------------------------------------------------------------


@pytest.fixture(scope="module")
def detector_text():
    return preprocessed(RUNTIME_DIRECTORY, '#include "gw_detector.c"\n#include "gw_pulse.h"\n')


@pytest.fixture(scope="module")
def rows(detector_text):
    return source_ranges(detector_text)


def test_the_shipped_detector_keeps_every_range(rows):
    assert [row for row in rows if not row.kept] == []
    assert {row.kind for row in rows} >= {
        "result in int64_t",
        "converted to int32_t",
        "shift count",
        "shifted value",
        "index",
        "index below the length",
        "promised range",
        "limit of the sum",
    }


def by_expression(rows, fragment: str) -> list[RangeRow]:
    return [row for row in rows if fragment in row.expression]


def test_the_sum_of_a_section_is_what_its_header_says(rows):
    """Below 2^61 by the worst coefficients and states, so that 32 bits hold its whole part."""
    (row,) = by_expression(rows, "past_y->before)) + (*fraction)")
    assert 2**60 < -row.derived[0] < row.derived[1] < 2**61


def test_squares_and_blocks(rows, detector_text):
    (square,) = [r for r in by_expression(rows, "value) * value") if "energy" not in r.expression]
    assert square.derived == (0, 2**48)
    (total,) = by_expression(rows, "energy + ")
    assert total.derived == (0, 2**62 - 1 + 2**48)
    # The mask on the sum in the source never changes a value: the most there is lies below.
    block = block_sum(detector_text)
    assert block.derived == (0, 16383 * 2**48)
    assert block.allowed == (0, 2**62 - 1)
    ticks = [row for row in rows if row.expression == "gw_band.ticks afterwards"]
    assert ticks[-1].derived == (0, 16383)


def test_a_shorter_limit_would_be_noticed(detector_text):
    sound = "0x3FFFFFFFFFFFFFFF"
    assert sound in detector_text
    broken = block_sum(detector_text.replace(sound, "0x1FFFFFFFFFFFFFFF"))
    assert not broken.kept


def test_places_are_those_of_the_source(rows):
    text = (RUNTIME_DIRECTORY / PRODUCT.file).read_text()
    places = {row.place for row in rows if row.expression == "((int64_t) a) * ((int64_t) b)"}
    assert places == {f"{PRODUCT.file}:{PRODUCT.line(text)}"}


TABLE = """
typedef short int16_t; typedef int int32_t; typedef unsigned int uint32_t;
typedef struct { int32_t block_ticks; uint32_t shift; int32_t scale; } gw_level_settings;
typedef struct { const int16_t *shape; int32_t ticks; } gw_pulse_shape;
static const int16_t shape[3] = {1, -2, 3};
const gw_level_settings levels[2] = {{%s, 6U, 10}, {16384, %s, 33554432}};
const gw_pulse_shape pulses[1] = {{%s, %s}};
"""


@pytest.mark.parametrize(
    ("values", "broken"),
    [
        (("116", "47", "shape", "3"), []),
        (("0", "47", "shape", "3"), ["levels[].block_ticks"]),
        (("16385", "48", "shape", "3"), ["levels[].block_ticks", "levels[].shift"]),
        (("116", "47", "shape", "4"), ["pulses[].ticks"]),
        (("116", "47", "0", "1"), ["pulses[].ticks"]),
        (("116", "47", "0", "0"), []),
    ],
)
def test_tables_of_a_machine(values, broken):
    rows = machine_ranges(TABLE % values)
    assert [row.expression for row in rows if not row.kept] == broken
    shift = next(row for row in rows if row.expression == "levels[].shift")
    assert shift.derived == tuple(sorted((6, int(values[1]))))


def test_the_stand_in_for_stdint():
    """ISO/IEC 9899:1999 7.18.2.1 on a machine whose int has 32 bits."""
    limits = {
        f"{sign}INT{bits}_{end}": (f"{sign.lower()}int{bits}_t", end)
        for bits in (16, 32, 64)
        for sign in ("", "U")
        for end in ("MIN", "MAX")
        if (sign, end) != ("U", "MIN")
    }
    lines = [f"{kind} o_{name} = {name};" for name, (kind, _) in limits.items()]
    text = preprocessed(RUNTIME_DIRECTORY, "#include <stdint.h>\n" + "\n".join(lines) + "\n")
    program = Program.parse(text)
    for name, (kind, end) in limits.items():
        declared = program.objects[f"o_{name}"]
        found = program.type_of(declared.type)
        assert str(found) == kind
        assert program.constant(declared.init) == found.range[end == "MAX"]
