"""Checks that the decision table of each state is single-hit: no gap, no overlap, no dead row.

ISO 5806 calls a decision table single-hit if exactly one rule applies to every combination of the
conditions. Combinations are those of :mod:`gainwright.language.attainable`: every gap, overlap or
dead row reported here is real; the proof over all integers also finds what this leaves open.

Nothing is enumerated over the whole table. A row is a box: for each independent group of conditions
the set of the group's combinations that it accepts. Two boxes are disjoint if they are so in one
group. Disjoint boxes leave no gap if their sizes add up to the number of all combinations; counted
by the number of true conditions, as coefficients of a polynomial, the sizes also say how few true
conditions the smallest gap has. The work grows with rows times groups, not with combinations.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

from gainwright.language.attainable import Attainable, Combination
from gainwright.language.model import Row
from gainwright.language.table_fault import DeadRow, Fault, Gap, Overlap

MOST_PIECES = 5_000
"""Boxes into which overlapping rows are cut; beyond, only the overlaps are reported."""


Box = Mapping[int, int]
"""Combinations accepted, as bits, by number of the group; a group left out accepts all."""


def table_faults(rows: Sequence[Row], attainable: Attainable) -> list[Fault]:
    """Return the faults of one state's table, with smallest examples; the first gap only."""
    sound = [row for row in rows if not set(row.when) & set(row.unless)]  # others: reported before
    names = dict.fromkeys(name for row in rows for name in (*row.when, *row.unless))
    groups = attainable.combinations(names)
    if groups is None:
        from gainwright.language.single_hit_solver import solved_faults

        return solved_faults(sound, attainable)
    return _Table(groups, sound).faults()


class _Table:
    def __init__(self, groups: Sequence[Sequence[Combination]], rows: Sequence[Row]) -> None:
        self._groups = groups
        self._group_of = {name: n for n, group in enumerate(groups) for name in group[0].booleans}
        self._rows = rows

    def faults(self) -> list[Fault]:
        faults: list[Fault] = []
        live: list[tuple[Row, Box]] = []
        for row in self._rows:
            box = self._box(row)
            if all(box.values()):
                live.append((row, box))
            else:
                faults.append(DeadRow(row))
        for (first, box), (second, other) in itertools.combinations(live, 2):
            if (both := _common(box, other)) is not None:
                faults.append(Overlap(first, second, self._smallest(both)))
        boxes = _disjoint([box for _, box in live])
        gap = None if boxes is None else _GapSearch(self._groups, boxes).smallest()
        return faults if gap is None else [*faults, Gap(gap)]

    def _box(self, row: Row) -> Box:
        box: dict[int, int] = {}
        for name, wanted in [(n, True) for n in row.when] + [(n, False) for n in row.unless]:
            number = self._group_of[name]
            accepted = sum(
                1 << place
                for place, combination in enumerate(self._groups[number])
                if combination.booleans[name] is wanted
            )
            box[number] = box.get(number, -1) & accepted
        return box

    def _smallest(self, box: Box) -> Combination:
        """Return the combination in a box with the fewest true conditions."""
        return _joined(
            group[_lowest_bit(box[number]) if number in box else 0]
            for number, group in enumerate(self._groups)
        )


def _common(first: Box, second: Box) -> Box | None:
    """Return the box of what two boxes share; None if they share nothing."""
    both = dict(first)
    for number, accepted in second.items():
        both[number] = both.get(number, -1) & accepted
        if not both[number]:
            return None
    return both


def _disjoint(boxes: Sequence[Box]) -> list[Box] | None:
    """Return disjoint boxes that cover the same; None if there would be too many."""
    result: list[Box] = []
    for box in boxes:
        pieces = [box]
        for other in list(result):
            pieces = [part for piece in pieces for part in _without(piece, other)]
            if len(pieces) + len(result) > MOST_PIECES:
                return None
        result += pieces
    return result


def _without(box: Box, other: Box) -> list[Box]:
    """Return what is left of a box without another one, as disjoint boxes."""
    if _common(box, other) is None:
        return [box]
    pieces, inside = [], dict(box)
    for number, accepted in other.items():
        own = inside.get(number, -1)
        if own & ~accepted:
            # With -1 for "all", bits beyond the group's combinations are never counted.
            pieces.append({**inside, number: own & ~accepted})
        inside[number] = own & accepted
    return pieces


class _GapSearch:
    """Finds what disjoint boxes do not cover, by counting.

    A polynomial over the number of true conditions is one integer: its coefficients, which count
    combinations and so are bounded, stand side by side, ``width`` bits each.
    """

    def __init__(self, groups: Sequence[Sequence[Combination]], boxes: Sequence[Box]) -> None:
        self._groups = groups
        self._boxes = boxes
        self._trues = [[sum(c.booleans.values()) for c in group] for group in groups]
        self._width = math.prod(map(len, groups)).bit_length() + 1

    def smallest(self) -> Combination | None:
        """Return the uncovered combination with the fewest true conditions, if there is one."""
        full = [self._counted(number, -1) for number in range(len(self._groups))]
        everything = math.prod(full)
        sizes = [(box, self._size(box, full)) for box in self._boxes]
        uncovered = everything - sum(size for _, size in sizes)
        if not uncovered:
            return None
        left = _lowest_bit(uncovered) // self._width
        chosen = []
        for number, group in enumerate(self._groups):
            everything //= full[number]
            for place, trues in enumerate(self._trues[number]):
                inside = list(self._with(sizes, number, place, full[number]))
                uncovered = everything - sum(size for _, size in inside)
                if left >= trues and self._coefficient(uncovered, left - trues):
                    break
            left -= trues
            sizes = inside
            chosen.append(group[place])
        return _joined(chosen)

    def _counted(self, number: int, accepted: int) -> int:
        """Return the combinations of a group that are accepted, by their true conditions."""
        return sum(
            1 << self._width * trues
            for place, trues in enumerate(self._trues[number])
            if accepted >> place & 1
        )

    def _size(self, box: Box, full: Sequence[int]) -> int:
        return math.prod(
            self._counted(number, box[number]) if number in box else all_of_it
            for number, all_of_it in enumerate(full)
        )

    def _with(self, sizes: Sequence[tuple[Box, int]], number: int, place: int, full: int):
        """Yield the boxes that accept one combination of a group, sized by the other groups."""
        for box, size in sizes:
            if number not in box:
                yield box, size // full
            elif box[number] >> place & 1:
                yield box, size // self._counted(number, box[number])

    def _coefficient(self, polynomial: int, trues: int) -> int:
        return polynomial >> self._width * trues & (1 << self._width) - 1


def _lowest_bit(bits: int) -> int:
    return (bits & -bits).bit_length() - 1


def _joined(combinations) -> Combination:
    booleans: dict[str, bool] = {}
    witness: dict[str, int] = {}
    for combination in combinations:
        booleans |= combination.booleans
        witness |= combination.witness
    return Combination(booleans, witness)
