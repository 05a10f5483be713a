"""A falling series of words, kept as every sixteenth word and one ratio: the reference for
``gw_ladder.h``, bit for bit.

Word ``k`` is ``step[k // 16] * within[k % 16] / 2^(32 + shift)`` rounded down, one more where its
bit says so, and at most ``most``. Nothing is lost: the words are reproduced exactly, or refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

GROUP = 16
"""Words that share a step."""
_WORD = 2**32
_BITS = 32
_MOST_SHIFT = 16


@dataclass(frozen=True, slots=True)
class FallingWords:
    """Words as an export keeps them; all numbers fit 32 bits without sign."""

    steps: tuple[int, ...]
    """The first word of every sixteen, times ``2^shift``, or what gives it and the others."""
    within: tuple[int, ...]
    """Sixteen powers of the ratio, Q0.32; the first is 1 less 2^-32."""
    one_more: tuple[int, ...]
    """A bit for each word, 32 to a number, the lowest first."""
    shift: int
    most: int

    def word(self, k: int) -> int:
        """Return word ``k``, counted from the largest."""
        product = self.steps[k // GROUP] * self.within[k % GROUP]
        whole = product >> (_BITS + self.shift)
        return min(whole + (self.one_more[k // _BITS] >> k % _BITS & 1), self.most)


def falling_words(words: Sequence[int], ratios: Sequence[float]) -> FallingWords:
    """Return the short form of words that fall by a ratio, or stay at the first for a while before.

    Args:
        words: 1 or more of 0 to 2^31 - 1, none larger than the one before it.
        ratios: from one word to the next, 0 to 1, of which one has to fit.

    Raises:
        ValueError: no ratio reproduces all words.
    """
    for ratio in ratios:
        within = _powers(ratio)
        for shift in range(_MOST_SHIFT, -1, -1):
            steps = _steps(words, within, shift)
            if steps:
                return _packed(words, steps, within, shift)
    raise ValueError(f"words from {words[0]} to {words[-1]} do not fall by one ratio of {ratios}")


def _powers(ratio: float) -> tuple[int, ...]:
    exact = Fraction(ratio)
    return tuple(min(round(exact**power * _WORD), _WORD - 1) for power in range(GROUP))


def _steps(words: Sequence[int], within: Sequence[int], shift: int) -> tuple[int, ...]:
    """Return a step for every sixteen words; nothing if one of them has none."""
    steps = list[int]()
    for begin in range(0, len(words), GROUP):
        low, high = 0, _WORD - 1
        for word, power in zip(words[begin : begin + GROUP], within, strict=False):
            # Rounded down it is the word or one less; what is above the first word is cut off.
            low = max(low, -(-((word - 1) << (_BITS + shift)) // power))
            if word < words[0]:
                high = min(high, (((word + 1) << (_BITS + shift)) - 1) // power)
        if low > high:
            return ()
        steps.append(low if high == _WORD - 1 else (low + high) // 2)
    return tuple(steps)


def _packed(
    words: Sequence[int], steps: tuple[int, ...], within: tuple[int, ...], shift: int
) -> FallingWords:
    whole = FallingWords(steps, within, (0,) * -(-len(words) // _BITS), shift, words[0])
    bits = sum((whole.word(k) < word) << k for k, word in enumerate(words))
    numbers = tuple(bits >> place & (_WORD - 1) for place in range(0, len(words), _BITS))
    packed = FallingWords(steps, within, numbers, shift, words[0])
    if any(packed.word(k) != word for k, word in enumerate(words)):
        raise AssertionError("a short form does not give back its words")
    return packed
