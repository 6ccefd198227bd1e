"""How curves of strength are joined: the slower or the faster of several, a factor, a bound.

All are a `StrengthCurve`; their inverses are exact, so that a date needs no search.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

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
