"""The exported watch equals the Python reference bit for bit, whatever it is told."""

from __future__ import annotations

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.detector.watch import STRAIN_LEVEL, TICKS_MAX, ReferenceWatch
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.sources import RUNTIME_DIRECTORY

_PROTOTYPES = """
void reset(gw_watch *watch, int32_t position);
void tick(gw_watch *watch, int32_t a, int32_t b, int32_t c, int32_t d, int32_t e);
"""
_PROBE = f"""
#include "gw_watch.h"
{_PROTOTYPES}
void reset(gw_watch *watch, int32_t position) {{ gw_watch_reset(watch, position); }}
void tick(gw_watch *watch, int32_t a, int32_t b, int32_t c, int32_t d, int32_t e)
{{
    const gw_watched now = {{a, b, c, d, e}};
    gw_watch_tick(watch, &now);
}}
"""
INT32 = st.integers(-(2**31), 2**31 - 1)
TICK = st.tuples(
    st.one_of(st.sampled_from([0, 0, 0, 1]), INT32),
    st.sampled_from([1, 1, 1, 0]),
    st.sampled_from([1, 1, 0]),
    st.sampled_from([0, 0, 1]),
    st.one_of(st.sampled_from([0, STRAIN_LEVEL - 1, STRAIN_LEVEL]), INT32),
)


@cache
def exported():
    sources = read_sources(RUNTIME_DIRECTORY, "gw_watch.h") | {"probe.c": _PROBE.encode()}
    return compile_and_load(sources, ("gw_watch.h",), name="watch", also=_PROTOTYPES)


COUNTS = st.sampled_from([0, 0, TICKS_MAX - 2, TICKS_MAX])
"""What the watch has counted before: the ends, without the ticks that lead there."""


@settings(max_examples=100, deadline=None)
@given(INT32, COUNTS, COUNTS, st.lists(st.tuples(TICK, st.sampled_from([1, 1, 2, 30]))))
def test_anything_in_any_order(start, still, strained, messages):
    ffi, library = exported()
    reference, compiled = ReferenceWatch(start), ffi.new("gw_watch *")
    library.reset(compiled, start)
    reference.still_ticks = compiled.still_ticks = still
    reference.strained_ticks = compiled.strained_ticks = strained
    for now, times in messages:
        for _ in range(times):
            library.tick(compiled, *now)
            reference.tick(now[0], bool(now[1]), bool(now[2]), bool(now[3]), now[4])
        found = (compiled.position, compiled.still_ticks, compiled.strained_ticks)
        assert found == (reference.position, reference.still_ticks, reference.strained_ticks)
        assert 0 <= found[1] <= TICKS_MAX and 0 <= found[2] <= TICKS_MAX


def test_standing_counts_only_where_the_reference_moves():
    watch = ReferenceWatch(7)
    for must_move in (True, True, False, False, True):
        watch.tick(7, True, must_move, False, 0)
    assert watch.still_ticks == 3, "what it stood before a rest still counts"
    watch.tick(8, True, True, False, 0)
    assert watch.still_ticks == 0
    watch.tick(8, True, True, False, 0)
    watch.tick(8, False, True, False, 0)
    assert watch.still_ticks == 0, "without torque nothing has to move"


def test_strain_is_forgotten_as_slowly_as_it_comes():
    watch = ReferenceWatch(0)
    for saturated, level in ((True, 0), (False, STRAIN_LEVEL), (False, STRAIN_LEVEL - 1)):
        for _ in range(10):
            watch.tick(0, True, False, saturated, level)
    assert watch.strained_ticks == 10
    for _ in range(11):
        watch.tick(0, False, False, True, 65_535)
    assert watch.strained_ticks == 0, "no strain without torque"
