"""Expressions in C mean what they mean in Python, on random trees and on the sharp corners."""

from __future__ import annotations

import subprocess

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gainwright.language.expression import Binary, Expression, InState, Integer, Operator, Reference
from gainwright.language.model import Kind, Signal
from gainwright.language.parse import parse
from gainwright.language.scope import Bounds
from gainwright.language.scope import Scope as SpecScope
from gainwright.language.typing import infer
from gainwright.semantics.evaluate import Moment, Step, evaluate, evaluate_over
from gainwright_codegen.host import compile_program, compile_shared, load_library
from gainwright_codegen.sources import runtime_sources
from gainwright_codegen.trial_c.expression import INCLUDES, Scope, c_expression

from ..shared.compilers import SANITIZED, compiler_parameters
from ..shared.random_trees import INT32_HIGH, INT32_LOW, boolean_trees, integer_trees, values_of

STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")

SIGNALS = {
    signal.name: signal
    for signal in (
        Signal("small", Kind.INTEGER, -3, 12, "", ""),
        Signal("half", Kind.INTEGER, -32768, 32767, "", ""),
        Signal("whole", Kind.INTEGER, INT32_LOW, INT32_HIGH, "", ""),
        Signal("yes", Kind.BOOLEAN, 0, 1, "", ""),
        Signal("no", Kind.BOOLEAN, 0, 1, "", ""),
    )
}
_SCOPE = Scope(
    {
        signal.name: f"(v[{k}] != 0)" if signal.kind is Kind.BOOLEAN else f"v[{k}]"
        for k, signal in enumerate(SIGNALS.values())
    }
)
valuations = st.fixed_dictionaries({name: values_of(signal) for name, signal in SIGNALS.items()})
trees = st.one_of(integer_trees(SIGNALS, 4), boolean_trees(SIGNALS, 4))


def compiled(expressions: list[Expression], flags: tuple[str, ...] = STRICT):
    """Return the library with one function per expression, and its FFI."""
    headers = {name: text for name, text in runtime_sources().items() if name in INCLUDES}
    lines = [f'#include "{name}"\n' for name in INCLUDES]
    prototypes = [f"int32_t f{k}(const int32_t v[]);\n" for k in range(len(expressions))]
    for k, expression in enumerate(expressions):
        text = c_expression(expression, _SCOPE)
        lines.append(f"int32_t f{k}(const int32_t v[]) {{ (void)v; return {text}; }}\n")
    source = "".join([*lines[: len(INCLUDES)], *prototypes, *lines[len(INCLUDES) :]])
    path = compile_shared(headers | {"trees.c": source}, flags, name="trees")
    return load_library(path, "".join(prototypes))


def check_alike(expressions: list[Expression], values: list[dict[str, int]], flags=STRICT) -> None:
    ffi, library = compiled(expressions, flags)
    for valuation in values:
        array = ffi.new("int32_t[]", [valuation[name] for name in SIGNALS])
        for k, expression in enumerate(expressions):
            result = getattr(library, f"f{k}")(array)
            assert result == evaluate(expression, valuation), (expression, valuation)


_SETTINGS = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    print_blob=True,
)


@pytest.mark.usefixtures("scratch_cache")
@_SETTINGS
@given(st.lists(trees, min_size=10, max_size=25), st.lists(valuations, min_size=5, max_size=10))
def test_random_trees_agree_and_compile_without_warning(expressions, values):
    check_alike(expressions, values)


@pytest.mark.usefixtures("scratch_cache", "undefined_behaviour_ends_the_run")
@_SETTINGS
@given(st.lists(trees, min_size=10, max_size=25), st.lists(valuations, min_size=5, max_size=10))
def test_random_trees_have_no_undefined_behaviour(expressions, values):
    check_alike(expressions, values, SANITIZED)


@settings(max_examples=200, deadline=None)
@given(integer_trees(SIGNALS, 4))
def test_the_random_trees_are_what_the_checker_accepts(expression):
    readable = {s.name: Bounds(s.kind, s.low, s.high) for s in SIGNALS.values()}
    bounds, errors = infer(expression, SpecScope(readable))
    assert bounds is not None and not errors


CORNERS = [
    # Rounds down, where C99 leaves the shift of a negative value to the compiler (6.5.7p5).
    "whole >> 1",
    "whole >> 31",
    "(0 - 3) >> 1",
    "min(small, 0) << 28",
    "min(max(small, 0 - 1), 0) << 31",
    "0 - 2147483647 - 1",
    "max(whole, 0 - 2147483647) * (0 - 1)",
    "half * 65535",
    "half - small + 5 - 7 + half",
    "half - (small - (half - 3))",
    "small * 3 * 2 * half",
    # Where the grouping of the tree is not the one that C would choose.
    "(small + 3) * half",
    "half * (small - 3)",
    "(half - small) * 2 - (half + 1) * 3",
    "half - (small - half) - (small + half)",
    "(yes or no) and (no or not yes)",
    "yes or no and not yes",
    "(yes and no) == (no and yes)",
    "not (yes == no)",
    "-(small + half)",
    "(small + 1 << 2) - (half >> 2) + 1",
    # Written out, compilers would warn of these.
    "whole == whole",
    "if small >= small then 1 else 0",
    "small * half == half * small",
    "(small < half) == (half > small)",
    "(yes != (small + 1 <= half)) == ((half >= 1 + small) != yes)",
    "whole <= 2147483647",
    "whole >= 0 - 2147483647 - 1",
    "true and (yes == no)",
    "yes implies no implies yes",
    "not (yes or no) == (not yes and not no)",
    "(if yes then no else true) != (small < half)",
    "min(min(min(small, half), whole), max(small, max(half, 3)))",
    "0x7fff + 1_000",
    "if yes then small else if no then half else whole",
]


@pytest.mark.usefixtures("scratch_cache")
@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig"))
def test_corners(monkeypatch, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    ends = [{s.name: end for s, end in zip(SIGNALS.values(), pick, strict=True)} for pick in _PICKS]
    check_alike([parse(text) for text in CORNERS], ends)


_PICKS = [
    [-3, -32768, INT32_LOW, 0, 0],
    [12, 32767, INT32_HIGH, 1, 1],
    [-1, -1, -1, 0, 1],
    [0, 0, 0, 1, 0],
    [5, 300, -7, 1, 1],
]


@pytest.mark.usefixtures("scratch_cache")
def test_long_chains_do_not_nest_parentheses():
    """Clang gives up at 256 levels, C99 promises 63 (5.2.4.1)."""
    sums = parse(" + ".join(["small"] * 400))
    conjunction = parse(" and ".join(["small < half"] * 200))
    check_alike([sums, conjunction], [dict(zip(SIGNALS, _PICKS[4], strict=True))])


def test_state_and_next():
    scope = Scope(
        {"a": "v[0]"}, after={"a": "w[0]"}, state_now="old_state", state_after="new_state"
    )
    formula = parse("next(in_state(idle, done)) implies next(a) <= a", requirement=True)
    text = c_expression(formula, scope)
    assert text == (
        "((!((new_state == GW_STATE_IDLE) || (new_state == GW_STATE_DONE))) || (w[0] <= v[0]))"
    )
    step = Step(Moment({"a": 1}, "idle"), Moment({"a": 2}, "done"))
    assert evaluate_over(formula, step) == 0


@pytest.mark.parametrize(
    "expression",
    [Reference("unknown"), Reference("small", after=True), InState(("idle",))],
)
def test_names_outside_the_scope_are_refused(expression):
    with pytest.raises(KeyError):
        c_expression(Binary(Operator.EQUAL, expression, Integer(1)), _SCOPE)


@pytest.mark.usefixtures("scratch_cache", "undefined_behaviour_ends_the_run")
def test_the_sanitizer_ends_a_program_that_overflows():
    source = "int main(void) { volatile int a = 2147483647; a = a + 1; return 0; }\n"
    program = compile_program({"overflow.c": source}, SANITIZED, "overflow")
    assert subprocess.run([program], capture_output=True, check=False).returncode != 0
