"""Concurrent protocols as trials: an input chooses which process takes its next step."""

from __future__ import annotations

import tomllib
from functools import cache

from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial

_FRAME = """\
[trial]
name = "{name}"
title = "Two processes"
tick_us = 1000
initial_state = "running"

[inputs]
second_moves = {{ kind = "boolean", meaning = "The second process takes a step, else the first" }}
{inputs}
[variables]
{variables}
[conditions]
second = {{ holds = "second_moves", meaning = "The second process moves" }}
{conditions}
[states.running]
meaning = "The processes run"
end = true

{rows}
[hazards]
wrong = {{ consequence = "The protocol fails" }}

{requirements}"""


def _variable(name: str, high: int, meaning: str) -> str:
    return (
        f'{name} = {{ kind = "integer", range = [0, {high}], initial = 0, meaning = "{meaning}" }}'
    )


def _boolean(name: str) -> str:
    return f'{name} = {{ kind = "boolean", initial = false, meaning = "A flag" }}'


def _condition(name: str, holds: str) -> str:
    return f'{name} = {{ holds = "{holds}", meaning = "{holds}" }}'


def _row(row_id: str, when: list[str], unless: list[str], actions: str) -> str:
    return (
        f'[[rows]]\nid = "{row_id}"\nfrom = "running"\nwhen = {when}\nunless = {unless}\n'
        f'actions = {{ {actions} }}\nwhy = "A step."\n'
    )


def _requirement(name: str, kind: str, formula: str, more: str = "") -> str:
    return (
        f'[requirements.{name}]\nhazard = "wrong"\nsentence = "{name}."\nkind = "{kind}"\n'
        f'formula = "{formula}"\n{more}proved_by = "induction"\n'
    )


def _loaded(name: str, inputs: str, parts: dict[str, list[str]]) -> Trial:
    joined = {key: "\n".join(lines) for key, lines in parts.items()}
    text = _FRAME.format(name=name, inputs=inputs, **joined)
    return trial_from_document(tomllib.loads(text), f"{name}.toml")


@cache
def peterson(flag_first: bool = True) -> Trial:
    """Mutual exclusion by G. L. Peterson, Information Processing Letters 12 (1981) 115-116.

    With ``flag_first`` false the two assignments of the entry are swapped, which breaks it.
    Steps: 0 outside, 1 between the two assignments, 2 waiting, 3 critical.
    """
    rows, conditions = [], []
    for number, other in ((0, 1), (1, 0)):
        me, moves = f"step{number}", ([], ["second"]) if number == 0 else (["second"], [])
        for place in range(3):
            conditions.append(_condition(f"at{number}{place}", f"{me} == {place}"))
        conditions.append(_condition(f"free{number}", f"not flag{other} or turn == {number}"))
        flag, turn = f"flag{number} = true", f"turn = {other}"
        first, second = (flag, turn) if flag_first else (turn, flag)
        at = [f"at{number}{place}" for place in range(3)]
        when, unless = moves
        rows += [
            _row(f"enter{number}", [*when, at[0]], unless, f"{first}, {me} = 1"),
            _row(f"announce{number}", [*when, at[1]], [*unless, at[0]], f"{second}, {me} = 2"),
            _row(f"go{number}", [*when, at[2], f"free{number}"], [*unless, *at[:2]], f"{me} = 3"),
            _row(f"wait{number}", [*when, at[2]], [*unless, *at[:2], f"free{number}"], ""),
            _row(f"leave{number}", when, [*unless, *at], f"flag{number} = false, {me} = 0"),
        ]
    return _loaded(
        "peterson" if flag_first else "swapped",
        "",
        {
            "variables": [
                _variable("step0", 3, "Step of the first"),
                _variable("step1", 3, "Step of the second"),
                _variable("turn", 1, "Who may go"),
                _boolean("flag0"),
                _boolean("flag1"),
            ],
            "conditions": conditions,
            "rows": rows,
            "requirements": [
                _requirement("exclusion", "invariant", "not (step0 == 3 and step1 == 3)"),
                _requirement(
                    "after_the_other",
                    "step",
                    "step0 != 3 and next(step0) == 3 implies step1 != 3",
                ),
                _requirement("first_enters", "reachable", "step0 == 3"),
            ],
        },
    )


@cache
def alternating_bit(bits: int = 2) -> Trial:
    """Transmission over channels that lose messages, with an alternating bit.

    After K. A. Bartlett, R. A. Scantlebury and P. T. Wilkinson, Communications of the ACM 12
    (1969) 260-261. Each channel holds one message: 0 none, 1 and 2 a message with bit 0 or 1.
    With ``bits`` 1 the bit never changes, so that a message sent again is taken for a new one.
    """
    flip = "1 - {}" if bits == 2 else "{}"
    sender_done = _row(
        "acknowledged",
        ["acknowledgement_fits", "acknowledgement_there"],
        ["second"],
        f"sent_bit = {flip.format('sent_bit')!r}, backward = 0, ahead = 'ahead - 1'",
    )
    return _loaded(
        "alternating_bit" if bits == 2 else "constant_bit",
        'loses = { kind = "boolean", meaning = "The channel loses what is sent" }\n',
        {
            "variables": [
                _variable("sent_bit", 1, "Bit of the sender"),
                _variable("wanted_bit", 1, "Bit that the receiver waits for"),
                _variable("forward", 2, "Message on its way"),
                _variable("backward", 2, "Acknowledgement on its way"),
                'ahead = { kind = "integer", range = [-2, 3], initial = 0, '
                'meaning = "Messages taken less messages that the sender takes for delivered" }',
            ],
            "conditions": [
                _condition("lost", "loses"),
                _condition("acknowledgement_there", "backward != 0"),
                _condition("acknowledgement_fits", "backward == sent_bit + 1"),
                _condition("message_there", "forward != 0"),
                _condition("message_new", "forward == wanted_bit + 1"),
            ],
            "rows": [
                sender_done,
                _row("stale", ["acknowledgement_there"], ["second", "acknowledgement_fits"],
                     "backward = 0"),
                _row("send", [], ["second", "acknowledgement_there", "lost"],
                     "forward = 'sent_bit + 1'"),
                _row("send_lost", ["lost"], ["second", "acknowledgement_there"], "forward = 0"),
                _row("take", ["second", "message_there", "message_new"], ["lost"],
                     f"backward = 'forward', wanted_bit = {flip.format('wanted_bit')!r}, "
                     "forward = 0, ahead = 'ahead + 1'"),
                _row("take_unheard", ["second", "message_there", "message_new", "lost"], [],
                     f"backward = 0, wanted_bit = {flip.format('wanted_bit')!r}, "
                     "forward = 0, ahead = 'ahead + 1'"),
                _row("again", ["second", "message_there"], ["message_new", "lost"],
                     "backward = 'forward', forward = 0"),
                _row("again_unheard", ["second", "message_there", "lost"], ["message_new"],
                     "backward = 0, forward = 0"),
                _row("nothing", ["second"], ["message_there"], ""),
            ],
            "requirements": [
                _requirement("in_step", "invariant", "0 <= ahead and ahead <= 1"),
            ],
        },
    )  # fmt: skip
