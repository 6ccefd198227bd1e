"""Strength against age, as a share of the 28-day strength, and strength against maturity.

Ages are ages at the curve's own curing temperature: feed them equivalent ages.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats


_YOUNGEST_DAYS: Final = 1e-12  # in place of age 0, by which EN 1992 would divide
_SMALLEST_RATIO: Final = 1e-300  # in place of ratio 0, of which EN 1992 would take the logarithm


class StrengthCurve(Protocol):
    """A curve of strength: 0 at age 0, never falling, about 1 at 28 days."""

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share of the 28-day strength reached at an age."""
        ...

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share of the 28-day strength is reached: days, or infinite."""
        ...


@dataclass(frozen=True)
class Aci209:
    """The curve of ACI 209R-92 as a `StrengthCurve`; a in days, b without unit."""

    a: float
    b: float

    def __post_init__(self) -> None:
        if not (self.a > 0.0 and self.b > 0.0):
            raise OutOfRange("a and b of ACI 209 are above 0")

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share of the 28-day strength reached at an age."""
        return aci209_ratio(age_days, self.a, self.b)

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share of the 28-day strength is reached: days, or infinite."""
        return aci209_age(ratio, self.a, self.b)


@dataclass(frozen=True)
class En1992:
    """The curve of EN 1992-1-1:2004 as a `StrengthCurve`; s by cement class, without unit."""

    s: float

    def __post_init__(self) -> None:
        if not self.s > 0.0:
            raise OutOfRange("s of EN 1992 is above 0")

    def ratio(self, age_days: ArrayLike) -> Floats:
        """Return the share of the 28-day strength reached at an age."""
        return en1992_ratio(age_days, self.s)

    def age_at(self, ratio: ArrayLike) -> Floats:
        """Return the age at which a share of the 28-day strength is reached: days, or infinite."""
        return en1992_age(ratio, self.s)


def aci209_ratio(age_days: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Return the share of the 28-day strength at an age, by ACI 209.

    Args:
        age_days: Any shape. Ages below 0 count as 0. [days]
        a: Of the cement and curing, broadcasts (type I, moist: 4.0). [days]
        b: Likewise (type I, moist: 0.85). [1]

    Returns:
        Broadcast shape. [1]. At 28 days it is 1 to within 0.015.

    Source:
        ACI 209R-92: t/(a + b t); the coefficients of moist curing as quoted from MacGregor's textbook.
    """
    age = np.maximum(age_days, 0.0)
    ratio: Floats = age / (np.asarray(a) + np.asarray(b) * age)
    return ratio


def aci209_age(ratio: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Return the age at which a share of the 28-day strength is reached, by ACI 209.

    Args:
        ratio: Share of the 28-day strength, any shape. [1]
        a: As `aci209_ratio`. [days]
        b: As `aci209_ratio`. [1]

    Returns:
        Broadcast shape; 0 for a share of 0 or less, infinite where the curve never gets there. [days]

    Source:
        Inverse of ACI 209R-92: a r/(1 - b r).
    """
    share = np.maximum(ratio, 0.0)
    left = 1.0 - np.asarray(b) * share
    reached = left > 0.0
    return np.where(reached, np.asarray(a) * share / np.where(reached, left, 1.0), np.inf)


def en1992_ratio(age_days: ArrayLike, s: ArrayLike) -> Floats:
    """Return the share of the 28-day mean strength at an age, by EN 1992.

    Args:
        age_days: Any shape. Ages below 0 count as 0. [days]
        s: Of the cement class, broadcasts: 0.20 (R), 0.25 (N), 0.38 (S). [1]

    Returns:
        Broadcast shape. [1]. Exactly 1 at 28 days.

    Source:
        EN 1992-1-1:2004, eq. 3.2, for curing at 20 degC.
    """
    age = np.maximum(age_days, _YOUNGEST_DAYS)
    ratio: Floats = np.exp(np.asarray(s) * (1.0 - np.sqrt(28.0 / age)))
    return ratio


def en1992_age(ratio: ArrayLike, s: ArrayLike) -> Floats:
    """Return the age at which a share of the 28-day mean strength is reached, by EN 1992.

    Args:
        ratio: Share of the 28-day mean strength, any shape. [1]
        s: As `en1992_ratio`. [1]

    Returns:
        Broadcast shape; 0 for a share of 0 or less, infinite where the curve never gets there. [days]

    Source:
        Inverse of EN 1992-1-1:2004, eq. 3.2.
    """
    share = np.asarray(ratio, dtype=np.float64)
    root = 1.0 - np.log(np.maximum(share, _SMALLEST_RATIO)) / np.asarray(s)  # sqrt(28/t)
    reached = root > 0.0
    age = np.where(reached, 28.0 / np.where(reached, root, 1.0) ** 2, np.inf)
    return np.where(share > 0.0, age, 0.0)


def hyperbolic_strength(
    maturity: ArrayLike, ultimate: ArrayLike, rate: ArrayLike, offset: ArrayLike
) -> Floats:
    """Return the strength at a maturity by the hyperbola that strength-maturity data are fitted with.

    Args:
        maturity: Equivalent age or temperature-time factor, any shape. [h or degC h]
        ultimate: Strength that is never passed, broadcasts. [MPa]
        rate: Initial slope as a share of the ultimate, broadcasts. [per unit of maturity]
        offset: Maturity at which strength begins, broadcasts. [unit of maturity]

    Returns:
        Broadcast shape, in the unit of ``ultimate``; 0 up to the offset.

    Source:
        ASTM C1074, annex; after Carino: S = Su k (M - M0)/(1 + k (M - M0)). From memory, not checked against
        the standard.
    """
    gained = np.asarray(rate) * np.maximum(np.asarray(maturity) - np.asarray(offset), 0.0)
    strength: Floats = np.asarray(ultimate) * gained / (1.0 + gained)
    return strength
