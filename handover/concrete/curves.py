"""How curves of strength are joined: the slower or the faster of several, a factor, a bound, another clock.

All are a `StrengthCurve`; their inverses are exact, but that of `AdditionCurve`, which is searched to within
a second.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from handover.errors import OutOfRange

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats
    from handover.concrete.strength import StrengthCurve


@dataclass(frozen=True)
class SlowestCurve:
    """The slowest of several strength curves at every age."""

    curves: Sequence[StrengthCurve]

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share reached at an age, of the shape of ``age_days``."""
        ratio: Floats = np.minimum.reduce([curve.ratio(age_days) for curve in self.curves])
        return ratio

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share is reached, in days, of the shape of ``ratio``."""
        age: Floats = np.maximum.reduce([curve.age_at(ratio) for curve in self.curves])
        return age


@dataclass(frozen=True)
class FastestCurve:
    """The fastest of several strength curves at every age."""

    curves: Sequence[StrengthCurve]

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share reached at an age, of the shape of ``age_days``."""
        ratio: Floats = np.maximum.reduce([curve.ratio(age_days) for curve in self.curves])
        return ratio

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share is reached, in days, of the shape of ``ratio``."""
        age: Floats = np.minimum.reduce([curve.age_at(ratio) for curve in self.curves])
        return age


@dataclass(frozen=True)
class ScaledCurve:
    """A strength curve, each strength times a factor above 0."""

    curve: StrengthCurve
    factor: float

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share reached at an age."""
        return np.asarray(self.factor * self.curve.ratio(age_days))

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share is reached: days, or infinite."""
        return self.curve.age_at(np.asarray(ratio, dtype=np.float64) / self.factor)


@dataclass(frozen=True)
class ConstantBound:
    """A bound on strength, to join with curves: one share at every age."""

    share: float

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share."""
        return np.full(np.shape(age_days), self.share)

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return 0 for what is within the share, infinite for what is above it."""
        return np.where(np.asarray(ratio) <= self.share, 0.0, np.inf)


@dataclass(frozen=True)
class OnsetBound:
    """The end of a bound, to join with curves: nothing before an age, no limit from there on."""

    days: float

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return 0 before the age, infinite from there on."""
        return np.where(np.asarray(age_days) < self.days, 0.0, np.inf)

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age for any share above 0."""
        return np.where(np.asarray(ratio) > 0.0, self.days, 0.0)


@dataclass(frozen=True)
class ClockCurve:
    """A strength curve by the clock of another curing temperature.

    Attributes:
        curve: By its own clock.
        per_day: Its days for each day of the other clock, above 0.
    """

    curve: StrengthCurve
    per_day: float

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share reached at an age of the other clock."""
        return self.curve.ratio(np.asarray(age_days, dtype=np.float64) * self.per_day)

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age by the other clock at which a share is reached: days, or infinite."""
        return np.asarray(self.curve.age_at(ratio) / self.per_day)


_MIDDLE_DAYS = 28.0  # at which all ratios are 1
_YOUNGEST_DAYS, _OLDEST_DAYS, _HALVINGS = 1e-6, 1e6, 60


@dataclass(frozen=True)
class AdditionCurve:
    """The curve of a cement as fly ash and slag change it: slower until 28 days, more gain after.

    The share of the cement's own curve is multiplied by exp(d (1 - sqrt(28/t))), which has the form of
    EN 1992: there it adds d to s. Without additions it is the cement's own curve.

    Attributes:
        curve: Of the cement, never falling.
        early: d until 28 days, 0 or more. [1]
        late: d from 28 days on, 0 or more. [1]

    Raises:
        OutOfRange: d below 0.
    """

    curve: StrengthCurve
    early: float
    late: float

    def __post_init__(self) -> None:
        if self.early < 0.0 or self.late < 0.0:
            raise OutOfRange("fly ash and slag make a curve no faster before 28 days and no lower after")

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share reached at an age."""
        age = np.maximum(np.asarray(age_days, dtype=np.float64), _YOUNGEST_DAYS)
        change = np.where(age < _MIDDLE_DAYS, self.early, self.late)
        ratio: Floats = self.curve.ratio(age_days) * np.exp(change * (1.0 - np.sqrt(_MIDDLE_DAYS / age)))
        return ratio

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share is reached: days, or infinite; by halving, between 0 and 1e6."""
        share = np.asarray(ratio, dtype=np.float64)
        low, high = np.full(share.shape, np.log(_YOUNGEST_DAYS)), np.full(share.shape, np.log(_OLDEST_DAYS))
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            reached = self.ratio(np.exp(middle)) >= share
            low, high = np.where(reached, low, middle), np.where(reached, middle, high)
        never = share > self.ratio(np.full(share.shape, _OLDEST_DAYS))
        return np.where(share <= 0.0, 0.0, np.where(never, np.inf, np.exp(high)))


def lowered_late(ratio: ArrayLike, late: ArrayLike, lowered_from: float) -> Floats:
    """Return shares of the 28-day strength where a warm first day lowers the late ones.

    Args:
        ratio: Share of a concrete cured at the standard temperature, any shape. [1]
        late: Share of the 28-day strength that is left at 28 days, broadcasts; above ``lowered_from``. [1]
        lowered_from: Up to this share, nothing is lost; from there the loss grows in proportion. [1]

    Returns:
        Broadcast shape. [1]
    """
    share = np.asarray(ratio, dtype=np.float64)
    slope = (np.asarray(late) - lowered_from) / (1.0 - lowered_from)
    lowered: Floats = np.where(share > lowered_from, lowered_from + slope * (share - lowered_from), share)
    return lowered


def raised_to_reach(ratio: ArrayLike, late: ArrayLike, lowered_from: float) -> Floats:
    """Return the share that a concrete needs at the standard temperature: the inverse of `lowered_late`."""
    share = np.asarray(ratio, dtype=np.float64)
    slope = (np.asarray(late) - lowered_from) / (1.0 - lowered_from)
    needed: Floats = np.where(share > lowered_from, lowered_from + (share - lowered_from) / slope, share)
    return needed
