"""The strength-maturity curve of a mix from its own cylinders."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.strength import hyperbolic_strength
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats


_DAY = 24.0
_FREE_OFFSET_AGES = 4
_OFFSET_SHARE = 0.95  # of the youngest age: strength had begun by then
_STEEPEST = 10.0  # per hour: all the strength there is, within minutes


@dataclass(frozen=True)
class Hyperbola:
    """A hyperbolic strength-maturity curve as a `StrengthCurve`, in shares of a strength.

    Attributes:
        ultimate: Share that is never passed. [1]
        rate: Initial slope as a share of the ultimate. [1/h]
        offset_h: Equivalent age at which strength begins. [h]
    """

    ultimate: float
    rate: float
    offset_h: float

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share reached at an age."""
        return hyperbolic_strength(
            np.asarray(age_days, dtype=np.float64) * _DAY, self.ultimate, self.rate, self.offset_h
        )

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share is reached: days, or infinite."""
        share = np.asarray(ratio, dtype=np.float64) / self.ultimate
        left = 1.0 - share
        hours = share / np.where(left > 0.0, left, 1.0) / self.rate + self.offset_h
        return np.where(share <= 0.0, 0.0, np.where(left > 0.0, hours / _DAY, np.inf))


@dataclass(frozen=True)
class Fit:
    """What a fit of strengths came to.

    Attributes:
        ultimate: Strength that the curve never passes. [MPa]
        rate: Initial slope as a share of the ultimate. [1/h]
        offset_h: Equivalent age at which strength begins. [h]
        fitted_mpa: On the curve, at the ages of the tests, shape (n,). [MPa]
        scatter: Standard deviation of the tests about the curve, as a share of the curve. [1]
    """

    ultimate: float
    rate: float
    offset_h: float
    fitted_mpa: Floats
    scatter: float


def fit_hyperbola(age_h: ArrayLike, strength_mpa: ArrayLike, *, offset_h: float) -> Fit:
    """Return the hyperbola that goes through strengths best.

    Each test counts by how far it is off as a share of the curve: cylinders scatter in proportion to their
    strength. From fewer than four different ages the beginning of strength cannot be fitted too, and it is
    taken as given.

    Args:
        age_h: Equivalent ages at the tests, shape (n,), n of 3 or more, at two ages or more. [h]
        strength_mpa: Shape (n,), above 0. [MPa]
        offset_h: When strength begins: fixed if it cannot be fitted, else the first guess. [h]

    Source:
        ASTM C1074, annex; after Carino: S = Su k (t - t0)/(1 + k (t - t0)). From memory, not checked against
        the standard.

    Raises:
        OutOfRange: Too few tests or ages, or a test from before strength begins.
    """
    from scipy.optimize import least_squares  # noqa: PLC0415 - slow to import, and few jobs have cylinders

    age, strength = (np.asarray(each, dtype=np.float64) for each in (age_h, strength_mpa))
    ages = len(np.unique(age))
    if len(age) < 3 or ages < 2:  # noqa: PLR2004 - two constants, and one test to judge them by
        raise OutOfRange("a fit needs three tests or more, at two ages or more")
    free = ages >= _FREE_OFFSET_AGES
    youngest, oldest = float(age.min()), float(age.max())
    if not free and offset_h >= youngest:
        raise OutOfRange("a test from before strength begins says nothing about the curve")

    def constants(guess: Floats) -> tuple[float, float, float]:
        offset = float(guess[2]) if free else offset_h
        return float(np.exp(guess[0])), float(np.exp(guess[1])), offset

    def off(guess: Floats) -> Floats:
        return np.asarray(np.log(hyperbolic_strength(age, *constants(guess)) / strength))

    highest, begin = float(strength.max()), min(offset_h, _OFFSET_SHARE / 2.0 * youngest)
    low = [np.log(highest) - 1.0, np.log(1e-3 / oldest), 0.0]
    high = [np.log(highest) + 5.0, np.log(_STEEPEST), _OFFSET_SHARE * youngest]
    first = [np.log(1.2 * highest), np.log(2.0 / oldest), begin]
    count = 3 if free else 2
    found = least_squares(
        off, first[:count], bounds=(low[:count], high[:count]), x_scale="jac", xtol=1e-12, ftol=1e-12
    )
    ultimate, rate, offset = constants(found.x)
    fitted = hyperbolic_strength(age, ultimate, rate, offset)
    shares = strength / fitted - 1.0
    scatter = float(np.sqrt((shares**2).sum() / max(len(age) - count, 1)))
    return Fit(ultimate, rate, offset, fitted, scatter)
