"""A gain over the position: the C is the Python reference, and never leaves its points."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.fixed.schedule import LARGEST_POSITION_UM, GainSchedule
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.schedule_c import schedule
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

_PROTOTYPE = "int32_t gain_at(const int32_t *p, const int32_t *g, int32_t points, int32_t at);"
_PROBE = f"""
#include "gw_schedule.h"
{_PROTOTYPE}
int32_t gain_at(const int32_t *p, const int32_t *g, int32_t points, int32_t at)
{{
    const gw_schedule s = {{p, g, points, 0}};
    return gw_schedule_gain(&s, at);
}}
"""
PLACE = st.integers(-LARGEST_POSITION_UM, LARGEST_POSITION_UM)
WORD = st.integers(1, 2**31 - 1)


@cache
def exported():
    folder = schedule.Path(schedule.__file__).parent
    sources = read_sources(folder, schedule.HEADER) | {"probe.c": _PROBE.encode()}
    return compile_and_load(sources, (schedule.HEADER,), name="schedule", also=_PROTOTYPE)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(PLACE, WORD, min_size=2, max_size=6), st.lists(PLACE, min_size=1))
def test_c_is_the_reference_and_goes_straight_from_point_to_point(points, places):
    ffi, library = exported()
    positions, gains = map(list, zip(*sorted(points.items()), strict=True))
    reference = GainSchedule(tuple(positions), tuple(gains))
    c_arrays = ffi.new("int32_t[]", positions), ffi.new("int32_t[]", gains)
    for place in (*places, *positions):
        found = library.gain_at(*c_arrays, len(positions), place)
        assert found == reference.at(place)
        below = [g for p, g in zip(positions, gains, strict=True) if p <= place][-1:] or gains[:1]
        above = [g for p, g in zip(positions, gains, strict=True) if p >= place][:1] or gains[-1:]
        assert min(below + above) <= found <= max(below + above)
    assert [reference.at(place) for place in positions] == gains


@pytest.mark.parametrize(
    ("positions", "gains"),
    [((0, 0), (5, 6)), ((1, 0), (5, 6)), ((0,), (5,)), ((0, 1), (5, 0)), ((0, 2**30 + 1), (5, 6))],
)
def test_what_is_no_schedule_is_refused(positions, gains):
    with pytest.raises(ValueError, match="expected"):
        GainSchedule(positions, gains)


def test_file_holds_rungs_of_the_ladder():
    trial, machine = load_trial(shipped_trial_path("loadside")), load_machine("kiln-shuttle")
    (table,) = axis_tables(trial, axis_data(machine))
    made = schedule.schedule_of(table, [(15.0, table.gains[3]), (-15.0, table.gains[7])])
    assert made.schedule.positions_um == (-15_000_000, 15_000_000)
    assert made.schedule.gains == (table.ladder.raw[7], table.ladder.raw[3])
    files = schedule.schedule_files("kiln-shuttle", ["Trial x"], [made])
    text = files["gw_schedule_kiln_shuttle.c"].decode("ascii")
    assert f"{{\n    {table.ladder.raw[7]}, {table.ladder.raw[3]}\n}}" in text
    assert "NOT A SAFETY FUNCTION" in text and "gw_schedule_kiln_shuttle_load_position_gain" in text
    compile_and_load(files, (schedule.HEADER,), name="schedule_file")
