"""The validated model of a trial: what is in the file, as plain immutable data.

Everything is ordered as in the file, so that whatever is made from it is reproducible. Objects are
made by :mod:`gainwright.language.load` only after validation; code that holds a :class:`Trial` can
rely on every name being resolved, every expression being well typed and every range respected.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property

from gainwright.language.expression import Expression

NEVER = -1
"""``within_ticks`` of a requirement that has no time in it."""


class Kind(Enum):
    """The two types of the language."""

    BOOLEAN = "boolean"
    INTEGER = "integer"


@dataclass(frozen=True, slots=True)
class Constant:
    name: str
    value: int
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class EnumerationValue:
    name: str
    words: str
    """What it means, for people who do not read names."""
    remedy: str
    """What to do about it; empty if there is nothing to do."""


@dataclass(frozen=True, slots=True)
class Enumeration:
    """A list of names for the integers 0, 1, 2 ..., in the order of the file."""

    name: str
    values: tuple[EnumerationValue, ...]


@dataclass(frozen=True, slots=True)
class Signal:
    """An input, output or variable: a bounded integer, or a boolean value stored as 0 or 1.

    One of kind ``enumeration`` in the file is an integer here; ``enumeration`` names its values.
    """

    name: str
    kind: Kind
    low: int
    high: int
    unit: str
    meaning: str
    enumeration: str = field(default="", kw_only=True)


@dataclass(frozen=True, slots=True)
class Variable(Signal):
    """Kept from tick to tick; an assignment saturates at ``low`` and ``high``."""

    initial: int = 0


@dataclass(frozen=True, slots=True)
class Output(Signal):
    """A function of state and variables (Moore); a state may override the default."""

    default: Expression


@dataclass(frozen=True, slots=True)
class Condition:
    """A named boolean value over inputs and variables; the columns of the decision tables."""

    name: str
    expression: Expression
    meaning: str


@dataclass(frozen=True, slots=True)
class State:
    name: str
    meaning: str
    end: bool
    """True for the states in which a trial may rest for ever."""
    outputs: Mapping[str, Expression]
    """Outputs that differ from their default in this state."""

    def value_of(self, output: Output) -> Expression:
        """Return what an output is in this state."""
        return self.outputs.get(output.name, output.default)


@dataclass(frozen=True, slots=True)
class Row:
    """One rule of a single-hit decision table (ISO 5806): a cube of conditions and what follows."""

    id: str
    """Id in the file; where the file lists several ``from`` states: ``id@state``."""
    source: str
    when: tuple[str, ...]
    """Conditions that must be true."""
    unless: tuple[str, ...]
    """Conditions that must be false."""
    target: str
    actions: Mapping[str, Expression]
    """Variable name to new value; all right-hand sides are read before any is written."""
    why: str


class RequirementKind(Enum):
    INITIAL = "initial"
    """``formula`` holds at the first moment, after reset and before the first tick, over state,
    variables and outputs."""
    INVARIANT = "invariant"
    """``formula`` holds after every tick, over state, variables and outputs."""
    STEP = "step"
    """``formula`` holds over every tick; plain names are before it, ``next(name)`` after it.
    Inputs and conditions are those the tick saw, so they have no ``next``."""
    RESPONSE = "response"
    """Whenever ``trigger`` holds over a tick (same names as a step), ``formula`` (an invariant
    formula) holds after that tick or after one of the ``within_ticks`` - 1 ticks that follow, so
    ``within_ticks = 1`` means at once."""
    REACHABLE = "reachable"
    """Some sequence of inputs makes ``formula`` (an invariant formula) true."""
    BOUNDED = "bounded"
    """From every state in which ``trigger`` (an invariant formula) holds, whatever the inputs do,
    ``formula`` (an invariant formula) holds after at most ``within_ticks`` ticks."""


@dataclass(frozen=True, slots=True)
class Hazard:
    id: str
    consequence: str


@dataclass(frozen=True, slots=True)
class Requirement:
    id: str
    hazard: str
    """Id of the hazard it answers."""
    sentence: str
    kind: RequirementKind
    formula: Expression
    trigger: Expression | None
    within_ticks: int
    proved_by: str
    """How it is to be proved, in words: a plan, not a verdict."""
    vacuous_because: str = ""
    """Why it may stand although its premise or trigger never occurs; empty: it must occur."""

    @property
    def later_ticks(self) -> int:
        """Return how many ticks may pass after the first moment at which the formula is asked for.

        That moment is where a bounded requirement is triggered; the tick that triggers a response
        leads to it, and is itself the first of ``within_ticks``.
        """
        return self.within_ticks - (self.kind is RequirementKind.RESPONSE)

    @property
    def is_timed(self) -> bool:
        """Return whether it may wait; a response at once asks about a single tick."""
        timed = self.kind in (RequirementKind.RESPONSE, RequirementKind.BOUNDED)
        return timed and self.later_ticks > 0


@dataclass(frozen=True, slots=True)
class EquivalentMutants:
    """Single changes to the trial that make no difference, as its author claims; see
    :mod:`gainwright_proof.mutants`, which checks the claim."""

    name: str
    mutants: tuple[str, ...]
    """Ids of mutants; ``*`` stands for any characters."""
    why: str


@dataclass(frozen=True, slots=True)
class Stage:
    """One gain that the trial raises, and the output that says which rung applies.

    Rung k of the ladder is start * ratio**k; the start comes from the machine description.
    """

    name: str
    """Name of the drive's setting, e.g. ``speed_gain``; the rig and the firmware bind by it."""
    title: str
    unit: str
    rung: str
    """Output that selects the rung to apply."""
    limit: str
    """Variable that holds the first rung at which onset was reported."""
    result: str
    """Variable that holds the chosen rung."""
    onset: str
    """Variable (boolean) that says whether onset was reported at ``limit``."""
    ratio: float
    """Step from one rung to the next, above 1."""
    rungs: int
    """Number of rungs, 2 to 128."""
    margin: float
    """The result is at most limit * (1 - margin), 0 to 1."""
    margin_rungs: int
    """The same margin in rungs: ratio**-margin_rungs is at most 1 - margin."""
    pulse_share: float
    """Greatest height of the test pulse, share of the drive's torque limit."""
    response_share: float
    """Torque with which the loop may answer a half wave of the pulse, share of the torque limit:
    at high gains the pulse is made smaller for it."""
    burst_share: float
    """Torque oscillation amplitude that counts as a burst, share of the drive's torque limit."""
    silence_counts: float
    """Speed-error amplitude that counts as silence, in steps of the speed that one encoder count
    per control tick makes."""


class TrialIndex:
    """Numbers of everything in a trial that has a name, as they stand in the exported C."""

    def __init__(self, trial: Trial) -> None:
        self.states = _numbered(state.name for state in trial.states)
        self.rows = _numbered(row.id for row in trial.rows)
        self.inputs = _numbered(signal.name for signal in trial.inputs)
        self.outputs = _numbered(output.name for output in trial.outputs)
        self.variables = _numbered(variable.name for variable in trial.variables)
        self.conditions = _numbered(condition.name for condition in trial.conditions)
        self.requirements = _numbered(requirement.id for requirement in trial.requirements)
        self.stages = _numbered(stage.name for stage in trial.stages)
        self.condition_bits = {name: 1 << number for name, number in self.conditions.items()}
        self.variable_bits = {name: 1 << number for name, number in self.variables.items()}


def _numbered(names: Iterable[str]) -> Mapping[str, int]:
    return {name: number for number, name in enumerate(names)}


@dataclass(frozen=True)
class Trial:
    name: str
    title: str
    tick_us: int
    """Sequencer tick in microseconds."""
    initial_state: str
    constants: tuple[Constant, ...]
    inputs: tuple[Signal, ...]
    outputs: tuple[Output, ...]
    variables: tuple[Variable, ...]
    conditions: tuple[Condition, ...]
    states: tuple[State, ...]
    rows: tuple[Row, ...]
    hazards: tuple[Hazard, ...]
    requirements: tuple[Requirement, ...]
    stages: tuple[Stage, ...]
    digest: str
    """SHA-256 (hex) over the canonical form of all else; layout and comments do not count."""
    equivalent_mutants: tuple[EquivalentMutants, ...] = ()
    enumerations: tuple[Enumeration, ...] = ()
    rehearsals_only: str = ""
    """Why no machine may run the trial yet; empty: nothing is said against it."""

    @cached_property
    def boolean_names(self) -> frozenset[str]:
        """Names of inputs, variables and outputs that are boolean."""
        signals = (*self.inputs, *self.variables, *self.outputs)
        return frozenset(signal.name for signal in signals if signal.kind is Kind.BOOLEAN)

    @cached_property
    def rows_by_state(self) -> Mapping[str, tuple[Row, ...]]:
        """Rows of each state, in the order of the file."""
        return {
            state.name: tuple(row for row in self.rows if row.source == state.name)
            for state in self.states
        }

    @cached_property
    def index(self) -> TrialIndex:
        """Return the number of each state, row, signal and so on by its name."""
        return TrialIndex(self)

    def constant(self, name: str) -> int:
        """Return the value of a constant; KeyError if the trial has none of that name."""
        return {constant.name: constant.value for constant in self.constants}[name]

    def enumeration(self, name: str) -> Enumeration:
        """Return the enumeration of that name; KeyError if the trial has none."""
        return {enumeration.name: enumeration for enumeration in self.enumerations}[name]

    def value_of(self, signal: Signal, value: int) -> EnumerationValue | None:
        """Return the named value of a signal; None if its values have no names."""
        return self.enumeration(signal.enumeration).values[value] if signal.enumeration else None
