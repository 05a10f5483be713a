"""The decision tables of a trial as initialisers of ``gw_row``."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from gainwright.language.expression import Expression
from gainwright.language.model import Row, Trial
from gainwright_codegen.c_text import LINE_LENGTH, array, comment
from gainwright_codegen.trial_c.condition_bits import ConditionBits
from gainwright_codegen.trial_c.identifiers import constant
from gainwright_codegen.trial_c.row_spans import splitting, state_rows
from gainwright_codegen.trial_c.scope import WIDEST, bit

_LONGEST_ENUMERATOR = 63
"""C99 tells names apart by so many characters (5.2.4.1)."""
WIDTH_OF_ONE_WORD = 16
"""With so many bits of conditions, what a row asks of them is one word of 32 bits."""
Action = tuple[tuple[str, Expression], ...]


class Actions:
    """The different actions of a trial, numbered; the empty one is number 0."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self.distinct = distinct_actions(trial)
        self._number = {action: number for number, action in enumerate(self.distinct)}
        self._users: dict[Action, list[str]] = {}
        for row in trial.rows:
            self._users.setdefault(_action(row), []).append(row.id)

    def users(self, action: Action) -> list[str]:
        """Return the rows that take an action."""
        return self._users.get(action, [])

    def name(self, action: Action) -> str:
        """Return the enumerator: a number, and the first row that does it."""
        if not action:
            return "ACTION_NONE"
        words = re.sub(r"[^A-Z0-9]+", "_", self.users(action)[0].upper())
        return f"ACTION_{self._number[action]}_{words}"[:_LONGEST_ENUMERATOR]

    def rows(self, bits: ConditionBits) -> str:
        """Return action numbers, condition bits and rows, sorted by state."""
        split, first = splitting(self._trial, bits), 0
        spans, lines = list[str](), list[str]()
        for state in self._trial.states:
            own = state_rows(self._trial.rows_by_state[state.name], split)
            end = first + len(own.rows)
            calm = f"{{{first + own.calm_begin}U, {end}U}}"
            urgent = f"{{{first}U, {first + own.urgent_end}U}}"
            spans.append(f"{{{calm}, {urgent}}}")
            first = end
            for row in own.rows:
                lines += [comment(_reason(row), indent=4), self._row(row, bits)]
        lines[-1] = lines[-1].rstrip(",")
        return "\n".join(
            [
                self._numbers(),
                _places(bits),
                "const gw_row gw_trial_rows[GW_ROW_COUNT] = {",
                *lines,
                "};\n",
                f"const gw_row_span gw_trial_spans[GW_STATE_COUNT][2] = {array(spans)};\n",
            ]
        )

    def _row(self, row: Row, bits: ConditionBits) -> str:
        text = (
            f"{{.match = {_match(row, bits)}, "
            f".target = {constant('STATE', row.target)}, .action = {self.name(_action(row))}, "
            f".number = {self._trial.index.rows[row.id]}U}},"
        )
        glued = re.sub(r"(?<=[=|]) | (?==)", "\0", text)
        filled = textwrap.fill(
            glued,
            LINE_LENGTH,
            initial_indent="    ",
            subsequent_indent="     ",
            break_long_words=False,
        )
        return filled.replace("\0", " ")

    def _numbers(self) -> str:
        names = [self.name(action) for action in self.distinct]
        lines = [f"    {name} = {number}," for number, name in enumerate(names)]
        lines[-1] = lines[-1].rstrip(",")
        text = comment("Actions, each named after the first row that takes it.")
        return "\n".join([text, "enum {", *lines, "};\n"])


def distinct_actions(trial: Trial) -> tuple[Action, ...]:
    """Return every different action once; the empty one is number 0."""
    return tuple(dict.fromkeys([(), *(_action(row) for row in trial.rows)]))


def _action(row: Row) -> Action:
    return tuple(row.actions.items())


def _places(bits: ConditionBits) -> str:
    words = 64 if bits.width > 32 else 32
    text = comment(
        "Bit of each condition in what a row looks at; conditions that no state looks at together "
        "share one."
    )
    lines = [
        f"#define {bit(name)} UINT{words}_C({hex(1 << bits.place[name] % WIDEST)})"
        for name in bits.place
        if name in bits.used
    ]
    return "\n".join([text, *lines, ""]) if lines else ""


def _match(row: Row, bits: ConditionBits) -> str:
    if bits.width > WIDTH_OF_ONE_WORD:
        return f"{{.when = {_bits(row.when, bits)}, .unless = {_bits(row.unless, bits)}}}"
    parts = (("GW_WHEN", row.when), ("GW_UNLESS", row.unless))
    texts = [f"{macro}({_bits(names, bits)})" for macro, names in parts if names]
    return " | ".join(texts) or "GW_ALWAYS"


def _bits(conditions: Sequence[str], bits: ConditionBits) -> str:
    if bits.width <= WIDEST:
        return " | ".join(map(bit, conditions)) or "0U"
    words = [
        [bit(name) for name in conditions if bits.place[name] // WIDEST == word]
        for word in range(-(-bits.width // WIDEST))
    ]
    return "{{" + ", ".join(" | ".join(own) or "0U" for own in words) + "}}"


def _reason(row: Row) -> str:
    cube = [*row.when, *(f"not {name}" for name in row.unless)]
    return f"{row.id}: {row.source}, {' and '.join(cube) or 'always'} -> {row.target}. {row.why}"
