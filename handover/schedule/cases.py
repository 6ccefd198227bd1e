"""The cases that are computed at once, and which of them speak for what.

A date that must be safe is taken from the concrete placed last, in the slow case; a date that must not be
missed from the concrete placed first, in the fast case. Each case is one column ("member") of every array.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from handover.jobs.model import JobRecord
    from handover.practice.rules import Practice

    Floats = NDArray[np.float64]

LIKELY, SLOW, FAST = 0, 1, 2  # within each group


@dataclass(frozen=True)
class Cases:
    """The cases, one value a member, shape (m,): likely, slow and fast, first of the last concrete.

    Attributes:
        placed_s: When the member's concrete was placed, UTC seconds.
        slower: +1 for slow, 0 for likely, -1 for fast.
        setting: Factor on the time to set.
        evaporation: Factor on evaporation; a surface that dries faster is colder.
    """

    placed_s: Floats
    slower: Floats
    setting: Floats
    evaporation: Floats

    last = slice(0, 3)
    first = slice(3, 6)

    def __len__(self) -> int:
        return len(self.placed_s)


def cases(job: JobRecord, practice: Practice) -> Cases:
    """Return the cases of a job."""
    slower = np.array([0.0, 1.0, -1.0] * 2)
    return Cases(
        placed_s=np.repeat([_seconds(job.placement.end), _seconds(job.placement.start)], 3),
        slower=slower,
        setting=practice["spread.setting"] ** slower,
        evaporation=1.0 + practice["drying.error"] * slower,
    )


def air_error(hours_ahead: Floats, practice: Practice) -> Floats:
    """Return how far the air may be from its forecast, so many hours ahead, in K, same shape."""
    growing = (
        practice["spread.air-at-once"] + practice["spread.air-per-day"] * np.maximum(hours_ahead, 0.0) / 24.0
    )
    return np.minimum(growing, practice["spread.air-most"])


def _seconds(moment: datetime) -> float:
    return moment.timestamp()
