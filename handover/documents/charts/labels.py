"""Labels on poles, placed without overlap."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

LABEL_GAP = 8.0
"""Least space between two labels in one row."""
NEAR, FAR = 3.0, 8.0
"""Least space between a label and the pole of another, on the side of its own pole, and on the other side."""


@dataclass(frozen=True)
class LabelFlag:
    """A label on a pole: the position of the pole, and the span of the label."""

    pole: float
    left: float
    right: float

    def covers(self, x: float) -> bool:
        """Return whether a pole at x would cross the label, or stand so close that it seems to bear it."""
        if x == self.pole:
            return False
        before, after = (NEAR, FAR) if self.left >= self.pole else (FAR, NEAR)
        return self.left - before < x < self.right + after

    def touches(self, other: LabelFlag) -> bool:
        """Return whether two labels in one row overlap."""
        return self.left < other.right + LABEL_GAP and other.left < self.right + LABEL_GAP


def placements(pole: float, width: float, right_edge: float) -> tuple[LabelFlag, ...]:
    """Return the possible flags of a label, the better one first; there is always one."""
    right, left = LabelFlag(pole, pole + 4, pole + 5 + width), LabelFlag(pole, pole - 5 - width, pole - 4)
    if right.right > right_edge:
        return (left,)
    return (right, left) if left.left >= 0 else (right,)


def fits(pole: float, width: float, right_edge: float) -> bool:
    """Return whether a label is whole on one side of its pole."""
    flag = placements(pole, width, right_edge)[0]
    return flag.left >= 0 and flag.right <= right_edge


def place_labels(
    labels: Sequence[tuple[float, float]], right_edge: float
) -> tuple[Sequence[LabelFlag], list[int]]:
    """Return a flag and a row for each label, given by its pole and its width.

    No pole crosses a label if that can be avoided; then there are few rows, and few labels to the left.
    """
    choices = product(*(placements(pole, width, right_edge) for pole, width in labels))
    return min(((flags, flag_rows(flags)) for flags in choices), key=_disorder)


def _disorder(placed: tuple[Sequence[LabelFlag], list[int]]) -> tuple[bool, int, int]:
    """Return what `place_labels` avoids, the worse first."""
    flags, rows = placed
    lefts = sum(each.left < each.pole for each in flags)
    return has_crossings(flags, rows), max(rows, default=0), lefts


def flag_rows(flags: Sequence[LabelFlag]) -> list[int]:
    """Return a row for each flag, 0 the lowest: no label on another, and each above the poles it covers."""
    placed: dict[int, int] = {}
    waiting = sorted(range(len(flags)), key=lambda each: (-flags[each].pole, each))
    while waiting:
        index = next((each for each in waiting if not _covered_poles(flags, each, waiting)), waiting[0])
        least = max((placed[each] + 1 for each in _covered_poles(flags, index, placed)), default=0)
        free = (row for row in range(least, least + len(flags)) if _clear(flags, index, row, placed))
        placed[index] = next(free)
        waiting.remove(index)
    return [placed[index] for index in range(len(flags))]


def has_crossings(flags: Sequence[LabelFlag], levels: Sequence[int]) -> bool:
    """Return whether a pole crosses a label that is lower than its own."""
    placed = list(zip(flags, levels, strict=True))
    return any(row < above and one.covers(other.pole) for one, row in placed for other, above in placed)


def _covered_poles(flags: Sequence[LabelFlag], index: int, among: Iterable[int]) -> list[int]:
    """Return the indices of the flags whose poles a label covers."""
    return [each for each in among if each != index and flags[index].covers(flags[each].pole)]


def _clear(flags: Sequence[LabelFlag], index: int, row: int, placed: dict[int, int]) -> bool:
    """Return whether no label in the row overlaps; with as many rows as flags, one is always clear."""
    return not any(there == row and flags[index].touches(flags[other]) for other, there in placed.items())
