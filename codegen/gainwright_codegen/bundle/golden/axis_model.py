"""What a ``gw_axis`` does, in Python: reference machine, detector and evidence tied together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from gainwright.detector.evidence import BOOST_MAX, FINDINGS, Hearing, ReferenceEvidence
from gainwright.detector.reference import ReferenceDetector
from gainwright.fixed.arithmetic import multiply_round
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.bundle.golden.sample import Machine

_NO_FINDINGS = {**dict.fromkeys(FINDINGS, 0), "decay_level": 65535}
_Order = tuple[int, int, Hearing, bool, int]
"""Stage, rung, hearing, whether a pulse is requested, and how many were ordered, counted round."""
_PULSES = 128


class ReferenceAxis:
    """One axis from ``gw_axis_init`` on; the control tick never comes within a sequencer tick."""

    def __init__(self, trial: Trial, stages: Sequence[StageTables], machine: Machine) -> None:
        self._trial, self._stages, self.machine = trial, stages, machine
        machine.restore(trial.initial_state, {v.name: v.initial for v in trial.variables})
        self.outputs = machine.outputs()
        self._order = self._taken = (*self._wanted(), 0)
        self._height = 0
        self._forget()

    @property
    def hearing(self) -> Hearing:
        """What blocks that end now belong to."""
        return self._taken[2] if self._is_taken else Hearing.NOTHING

    def _forget(self) -> None:
        settings = self._stages[self._taken[0]].detector
        self._detector = ReferenceDetector(settings)
        self._evidence = ReferenceEvidence(
            swing_level=settings.swing_level, steps_level=settings.steps_level
        )
        self._due: list[Callable[[], None]] = []
        """What the next control ticks do, one each."""
        self._pulse: tuple[int, int] | None = None

    def _wanted(self) -> tuple[int, int, Hearing, bool]:
        number = self.outputs.get("active_stage", 0)
        rung = self.outputs[self._stages[number].stage.rung]
        hearing = Hearing(self.outputs.get("hearing", 0))
        return number, rung, hearing, bool(self.outputs.get("pulse_request", 0))

    @property
    def order_word(self) -> int:
        """The last order as one word, as the C has it."""
        stage, rung, hearing, pulse, pulses = self._order
        return stage | rung << 8 | hearing << 16 | pulse << 24 | pulses << 25

    def _give_order(self) -> None:
        wanted, (*before, pulses) = self._wanted(), self._order
        if [*wanted] == before:
            return
        heights = self._stages[wanted[0]].pulse.heights
        doubled = heights[wanted[1]] << min(self._evidence.boost, BOOST_MAX)
        begins = wanted[3] and not before[3]
        # Where only the request has ended, a pulse that was not begun yet stays ordered.
        stays = [*wanted[:3]] == before[:3] and self._order != self._taken
        if begins:
            self._height = min(doubled, heights[0] + heights[0] // 2)
        elif not stays:
            self._height = 0
        self._order = (*wanted, (pulses + begins) % _PULSES)

    def control_tick(self, torque_command: int, speed_error: int) -> int:
        """Take one control tick's signals; return the torque of the test pulse."""
        due = list(self._due)
        if self._order != self._taken and not due and not self._detector.block_ends:
            self._begin_order()
        ended = self._detector.sample(torque_command, speed_error)
        if any(ended):
            self._take_blocks(*ended)
        elif due:
            self._due.pop(0)()
        return self._play()

    def _take_blocks(self, ring_ended: bool, burst_ended: bool) -> None:
        """Of two blocks the burst is heard at once."""
        if burst_ended:
            self._evidence.burst_block(self._detector.burst.level)
        if ring_ended and burst_ended:
            self._due.append(self._ring_block)
        elif ring_ended:
            self._ring_block()

    def _ring_block(self) -> None:
        self._evidence.ring_block(self._detector.ring.level)

    def _begin_order(self) -> None:
        before, self._taken = self._taken, self._order
        stage, rung, hearing, _, pulses = self._taken
        if stage != before[0]:
            self._forget()
        if hearing is not self._evidence.hearing:
            self._detector.restart_blocks()
            # In the C its parts, a tick each; no block ends meanwhile.
            self._due += [*2 * [lambda: None], lambda: self._evidence.hear(hearing)]
        if rung != before[1]:
            lower = rung < before[1]
            self._due += [*2 * [lambda: None], lambda: self._evidence.new_gain(lower)]
        if pulses != before[4]:
            self._pulse = (0, self._height)

    def _play(self) -> int:
        shape = self._stages[self._taken[0]].pulse.shape
        if self._pulse is None or self._pulse[0] >= len(shape):
            return 0
        place, height = self._pulse
        self._pulse = (place + 1, height)
        return multiply_round(height, shape[place], 15)

    def findings(self) -> Mapping[str, int]:
        """Return what the detector finds; nothing until the last order was taken."""
        return self._evidence.findings() if self._is_taken else _NO_FINDINGS

    @property
    def _is_taken(self) -> bool:
        """Whether all parts of the last order are done; a block may still wait."""
        return self._order == self._taken and self._due in ([], [self._ring_block])

    def step(self, inputs: Mapping[str, int]) -> int:
        """Take one step of the table; return the number of the row."""
        row = self.machine.tick(inputs)
        self.outputs = self.machine.outputs()
        self._give_order()
        return self._trial.index.rows[row.id]
