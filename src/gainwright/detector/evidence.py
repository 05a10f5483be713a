"""What the detector's blocks are evidence of: ``gw_evidence.c`` on Python integers, bit for bit."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from gainwright.detector.settings import INPUT_LEVEL_MAX, LEVEL_MAX, LEVEL_ONE

SILENCE_LEAST = 6
NOISE_LEAST = 4
BLOCKS_MAX = 255
GROUPS = 8
GROUPS_NEEDED = 4
GROUP_BLOCKS_MAX = 64
BOOST_MAX = 3
HIDDEN_GAINS, VANISHED_GAINS, RESPONSE_SEEN = 4, 12, 2
USUAL_GAINS, USUAL_PART, USUAL_LEAST = 8, 8, 16
GROWN_TIMES, GROWN_GAINS, GROWN_HIDDEN = 4, 4, 8
FALLS_PART, STAYS_RINGING, STAYS_NOISE = 8, 4, 2
STALL_BLOCKS, STALL_COUNTS, LEAP_COUNTS = 16, 12, 13
STALLS_ENOUGH, STALLS_HIDDEN = 25, 24
RESPONSE_BLOCKS = 2
RESPONSE_WANTED, RESPONSE_PLENTY = 4, 16
ANSWER_LITTLE, ANSWER_ENOUGH, ANSWER_TOO_MUCH = 1, 6, 20
NOISE_ENOUGH = 16
TOTAL_MAX = 2**28 - 1
TOTAL_SCALE = 64
FINDINGS = (
    "burst_level",
    "noise_blocks",
    "noise_level",
    "noise_leapt",
    "ring_blocks",
    "ring_level",
    "response_level",
    "decay_level",
    "move_noise_level",
    "noise_tripled",
    "answers_hidden",
    "noise_grown",
    "ringing_stays",
    "ringing_stalls",
    "answers_vanished",
)
"""Inputs of a trial that the detector supplies, in the order of ``enum gw_finding``."""


class Hearing(IntEnum):
    """What a block that ends now belongs to."""

    NOTHING = 0
    NOISE = 1
    RINGING = 2
    RESPONSE = 3
    MOVE = 4


def share(part: int, whole: int) -> int:
    """Return LEVEL_ONE * part / whole, rounded down, at most INPUT_LEVEL_MAX; part is a level."""
    return min(min(part, LEVEL_MAX) * LEVEL_ONE // max(whole, 1), INPUT_LEVEL_MAX)


def expected(noise: int, before: int | None, part: int) -> int | None:
    """Return how much noise the next gain lets expect: growth beyond 1/part does not count.

    None, not known, where it is as strong as can be told.
    """
    most = INPUT_LEVEL_MAX if before is None else before + before // part + NOISE_LEAST // 2
    return min(noise, most) if min(noise, most) < INPUT_LEVEL_MAX else None


def has_leapt(noise: int, before: int | None, most: int) -> bool:
    """Return whether a level is more than noise does from gain to gain."""
    return before is not None and noise > most + NOISE_LEAST


def _counted(blocks: int) -> int:
    return min(blocks + 1, BLOCKS_MAX)


@dataclass(slots=True)
class Ringing:
    """What was heard since a test pulse began."""

    blocks: int = 0
    response: int = 0
    last: int = 0
    burst_peak: int = 0
    groups: list[int] = field(default_factory=list)
    """Mean levels of equal stretches, from the second block on."""
    group_blocks: int = 1
    filled: int = 0
    sum: int = 0

    def add(self, level: int) -> None:
        if self.blocks > 0 and len(self.groups) < GROUPS:
            self._add_to_group(level)
        if self.blocks < RESPONSE_BLOCKS:
            self.response = max(self.response, level)
        self.last = level
        self.blocks = _counted(self.blocks)

    def _add_to_group(self, level: int) -> None:
        self.sum += level
        self.filled += 1
        if self.filled < self.group_blocks:
            return
        self.groups.append(self.sum // self.group_blocks)
        self.filled = self.sum = 0
        if len(self.groups) == GROUPS and self.group_blocks < GROUP_BLOCKS_MAX:
            pairs = zip(self.groups[::2], self.groups[1::2], strict=True)
            self.groups = [a // 2 + b // 2 for a, b in pairs]
            self.group_blocks *= 2

    def middle_and_last(self, noise: int, steps: int) -> tuple[int, int]:
        """Return what two groups have above the noise; zeros as long as they are too few.

        No louder than encoder steps alone may be, nothing is left in the end.
        """
        if len(self.groups) < GROUPS_NEEDED:
            return 0, 0
        middle, last = self.groups[(len(self.groups) - 1) // 2], self.groups[-1]
        return max(middle - noise, 0), max(last - noise, 0) if last > steps else 0


@dataclass(slots=True)
class ReferenceEvidence:
    """State as in ``gw_evidence``; levels are those of the detector."""

    hearing: Hearing = Hearing.NOTHING
    swing_level: int = LEVEL_MAX
    """Ring level above which the speed itself swings."""
    steps_level: int = 0
    """Ringing that is no louder is nothing: encoder steps alone may be."""
    burst: int = 0
    boost: int = 0
    hidden: int = 0
    """Gains in a row whose last pulse was not seen, or faintly."""
    ring_most: int = 0
    """Largest ring noise of all hearings at this gain."""
    ring_usual: int = 0
    """What gains so far let expect of it."""
    grown: int = -USUAL_GAINS
    """Gains in a row with far more of it; below 0: gains to learn what is usual."""
    noise_before: int | None = None
    noise_blocks: int = 0
    ring_noise: int = 0
    ring_noise_least: int = LEVEL_MAX
    burst_noise: int = 0
    move_noise: int = 0
    move_noise_before: int | None = None
    earlier: int = 0
    later: int = 0
    stays: int = 0
    """Noise above which a ringing at this gain goes on; 0: each was seen to fall."""
    stalled: bool = False
    """A ringing at this gain did not fall ..."""
    stalls: int = 0
    """... and at gains before: each counts twelve, noise that leapt and hides the answer
    thirteen, and one less with each gain since at which an answer was seen."""
    ringing: Ringing = field(default_factory=Ringing)

    def new_gain(self, lower: bool = False) -> None:
        """Forget what was measured, but for how much noise to expect.

        A lower gain answers the next pulse less, which therefore is higher.
        """
        if lower:
            self.stalls = 0
            if self.ringing.response < RESPONSE_PLENTY * self.silence:
                self.boost = min(self.boost + 1, BOOST_MAX)
            self.grown = min(self.grown, 0)
        else:
            self._count_hidden()
            self._count_stalls()
        before = self.noise_before
        if self.noise_blocks > 0:
            if not lower:
                self._count_grown()
            if self.grown <= 0:
                self.noise_before = expected(self.burst_noise, before, 4)
            self.move_noise_before = expected(self.move_noise, self.move_noise_before, 2)
        self.earlier = self.later = self.stays = self.move_noise = self.ring_most = 0
        self.stalled = False
        self._forget_noise()
        self.ringing = Ringing()

    def _count_hidden(self) -> None:
        if self.ringing.blocks > 0:
            faint = self.ringing.response < RESPONSE_SEEN * self.silence
            self.hidden = _counted(self.hidden) if faint else 0

    def _count_grown(self) -> None:
        usual, most = self.ring_usual, self.ring_most
        if self.grown < 0:
            self.grown += 1
            self.ring_usual = max(usual, most)
            return
        far_more = self.ring_noise // GROWN_TIMES > max(usual, USUAL_LEAST)
        far_more |= self.ring_noise > self.swing_level
        self.grown = _counted(self.grown) if far_more else 0
        self.ring_usual = max(usual, min(most, usual + usual // USUAL_PART + USUAL_LEAST))

    def hear(self, hearing: Hearing) -> None:
        """From here on blocks belong to something else."""
        if self.hearing is Hearing.RINGING:
            self._adapt_pulse()
        self._keep_ringing()
        if hearing is Hearing.NOISE:
            self._keep_decay()
            self._forget_noise()
        if hearing in (Hearing.NOISE, Hearing.RINGING):
            self.ringing = Ringing()
        self.hearing = hearing

    def ring_block(self, level: int) -> None:
        """Take the ring level of a block that has ended."""
        if self.hearing is Hearing.NOISE:
            self.ring_noise = max(self.ring_noise, level)
            self.ring_most = max(self.ring_most, level)
            self.ring_noise_least = min(self.ring_noise_least, level)
            self.noise_blocks = _counted(self.noise_blocks)
        elif self.hearing is Hearing.RINGING:
            self.ringing.add(level)

    def burst_block(self, level: int) -> None:
        """Take the burst level of a block that has ended; INPUT_LEVEL_MAX counts as the largest."""
        level = min(level, INPUT_LEVEL_MAX)
        self.burst = level
        if self.hearing is Hearing.NOISE:
            self.burst_noise = max(self.burst_noise, level)
            self.move_noise = max(self.move_noise, level)
        elif self.hearing is Hearing.MOVE:
            self.move_noise = max(self.move_noise, level)
        elif self.hearing is Hearing.RINGING:
            self.ringing.burst_peak = max(self.ringing.burst_peak, level)

    def findings(self) -> dict[str, int]:
        """Return the inputs of the trial by name."""
        noise = self.burst_noise if self.noise_blocks > 0 else self.noise_before or 0
        most = (self.move_noise_before or 0) * 3 // 2
        leapt = has_leapt(self.move_noise, self.move_noise_before, most)
        hidden = self.hidden >= HIDDEN_GAINS
        values = (
            self.burst,
            self.noise_blocks,
            noise,
            has_leapt(noise, self.noise_before, (self.noise_before or 0) * 3 // 2),
            self.ringing.blocks,
            share(self.ringing.last, self.silence),
            share(self.ringing.response, self.silence),
            self._decay(),
            0 if leapt else self.move_noise,
            self._noise_leapt(noise, 3),
            hidden,
            self.grown >= (1 if self.hidden >= GROWN_HIDDEN else GROWN_GAINS),
            self._ringing_stays(),
            self.stalls >= (STALLS_HIDDEN if hidden else STALLS_ENOUGH),
            hidden and self.hidden < VANISHED_GAINS,
        )
        return {
            name: min(int(value), INPUT_LEVEL_MAX)
            for name, value in zip(FINDINGS, values, strict=True)
        }

    @property
    def silence(self) -> int:
        """Ring level at which the noise alone may be."""
        spread = max(self.ring_noise - self.ring_noise_least, 0)
        above = min(self.ring_noise // 8 + spread + spread // 2, self.ring_noise // 2)
        return max(self.ring_noise + above, SILENCE_LEAST)

    def _forget_noise(self) -> None:
        self.noise_blocks = self.ring_noise = self.burst_noise = 0
        self.ring_noise_least = LEVEL_MAX

    def _decay(self) -> int:
        middle, last = self._middle_and_last()
        earlier = self.earlier + middle
        later = self.later + last
        scale = TOTAL_SCALE if max(earlier, later) > LEVEL_MAX else 1
        return INPUT_LEVEL_MAX if earlier < 1 else share(later // scale, earlier // scale)

    def _middle_and_last(self) -> tuple[int, int]:
        return self.ringing.middle_and_last(self.ring_noise, self.steps_level)

    def _keep_decay(self) -> None:
        middle, last = self._middle_and_last()
        earlier, later = self.earlier + middle, self.later + last
        halves = 2 if max(earlier, later) > TOTAL_MAX else 1
        self.earlier, self.later = earlier // halves, later // halves

    def _keep_ringing(self) -> None:
        middle, last = self._middle_and_last()
        earlier, later = self.earlier + middle, self.later + last
        if earlier < 1 or later < earlier - earlier // FALLS_PART:
            return
        if not self.stays and self.ringing.last >= STAYS_RINGING * self.silence:
            self.stays = STAYS_NOISE * self.silence
        seen = self.ringing.response >= RESPONSE_SEEN * self.silence
        self.stalled |= seen and self.ringing.blocks >= STALL_BLOCKS

    def _count_stalls(self) -> None:
        heard = self.hidden > 0 and self.noise_blocks > 0
        leapt = heard and self._noise_leapt(self.burst_noise, 3)
        counts = LEAP_COUNTS if leapt else STALL_COUNTS if self.stalled else -int(self.hidden == 0)
        self.stalls = min(max(self.stalls + counts, 0), STALLS_ENOUGH)

    def _noise_leapt(self, noise: int, times: int) -> bool:
        before = self.noise_before
        return has_leapt(noise, before, times * (before or 0))

    def _ringing_stays(self) -> bool:
        heard = self.stays > 0 and self.noise_blocks > 0
        return heard and self.ring_noise_least > max(self.stays, self.steps_level)

    def _adapt_pulse(self) -> None:
        answer, wanted = self.ringing.burst_peak, RESPONSE_WANTED * self.silence
        if answer >= ANSWER_TOO_MUCH or self.burst_noise >= NOISE_ENOUGH:
            self.boost = max(self.boost - 1, 0)
        elif self.ringing.response < wanted and self.ringing.blocks > 0 and answer < ANSWER_ENOUGH:
            self.boost = min(self.boost + (2 if answer < ANSWER_LITTLE else 1), BOOST_MAX)
