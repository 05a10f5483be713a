"""A small valid trial of our own, and edits that break it in one way each."""

from __future__ import annotations

SMALL = """\
[trial]
name = "small"
title = "One gain, raised while it is calm"
tick_us = 1000
initial_state = "rest"

[constants]
top = { value = 7, unit = "rung", meaning = "Highest rung" }
patience = { value = "top + 3", unit = "ticks", meaning = "Longest search" }

[inputs]
go = { kind = "boolean", meaning = "Search while true" }
level = { kind = "integer", range = [0, 100], meaning = "How loud it is" }

[variables]
rung = { kind = "integer", range = [0, "top"], initial = 0, meaning = "Rung that applies" }
limit = { kind = "integer", range = [0, "top"], initial = 0, meaning = "Rung with onset" }
result = { kind = "integer", range = [0, "top"], initial = 0, meaning = "Chosen rung" }
found = { kind = "boolean", initial = false, meaning = "Onset was found" }
time = { kind = "integer", range = [0, "patience"], initial = 0, meaning = "Ticks searched" }

[outputs]
torque = { kind = "boolean", default = false, meaning = "Torque request" }
applied = { kind = "integer", range = [0, 127], default = "rung", meaning = "Applied rung" }

[conditions]
wanted = { holds = "go", meaning = "The search is wanted" }
loud = { holds = "level > 50", meaning = "It is loud" }
late = { holds = "time >= patience", meaning = "It takes too long" }

[states.rest]
meaning = "Nothing moves"
end = true

[states.search]
meaning = "The gain is raised"
outputs = { torque = true }

[[rows]]
id = "begin"
from = "rest"
when = ["wanted"]
to = "search"
actions = { rung = 0, time = 0 }
why = "Asked for."

[[rows]]
id = "stay"
from = "rest"
unless = ["wanted"]
why = "Not asked for."

[[rows]]
id = "leave"
from = "search"
unless = ["wanted"]
to = "rest"
why = "No longer asked for."

[[rows]]
id = "onset"
from = "search"
when = ["wanted", "loud"]
to = "rest"
actions = { limit = "rung", result = "max(rung - 2, 0)", rung = "max(rung - 2, 0)", found = true }
why = "Loud: this is the limit."

[[rows]]
id = "too_late"
from = "search"
when = ["wanted", "late"]
unless = ["loud"]
to = "rest"
why = "Too late."

[[rows]]
id = "raise"
from = "search"
when = ["wanted"]
unless = ["loud", "late"]
actions = { rung = "min(rung + 1, top)", time = "time + 1" }
why = "Calm: one rung up."

[stages.speed_gain]
title = "Speed gain"
unit = "N m s/rad"
rung = "applied"
limit = "limit"
result = "result"
onset = "found"
ratio = 1.5
rungs = 128
margin = 0.5
margin_rungs = 2
pulse_share = 0.01
response_share = 0.01
burst_share = 0.1
silence_counts = 3

[hazards]
runaway = { consequence = "The search never ends" }

[requirements.ends]
hazard = "runaway"
sentence = "The search ends."
kind = "bounded"
trigger = "in_state(search)"
formula = "in_state(rest)"
within_ticks = "patience + 1"
proved_by = "exploration"

[requirements.raised_when_calm]
hazard = "runaway"
sentence = "Raised only when calm."
kind = "step"
formula = "next(rung) > rung implies not loud and found == next(found)"
proved_by = "induction"

[requirements.loud_drops]
hazard = "runaway"
sentence = "Loud ends the search at once."
kind = "response"
trigger = "torque and loud"
formula = "not torque"
within_ticks = 1
proved_by = "induction"

[requirements.result_below_limit]
hazard = "runaway"
sentence = "The result is below the limit."
kind = "invariant"
formula = "found implies result + 2 <= limit or result == 0"
proved_by = "induction"

[requirements.can_find]
hazard = "runaway"
sentence = "Onset can be found."
kind = "reachable"
formula = "found and limit == top"
proved_by = "exploration"
"""


def edited(*edits: tuple[str, str]) -> str:
    """Return the small trial with texts replaced; every text must occur exactly once."""
    text = SMALL
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} occurs {text.count(old)} times"
        text = text.replace(old, new)
    return text
