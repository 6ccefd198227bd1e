"""Tension in a young slab that cools and dries while the ground holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats


def elastic_modulus(strength_mpa: ArrayLike) -> Floats:
    """Return the modulus of elasticity of normal-weight concrete.

    Args:
        strength_mpa: Compressive strength, any shape. [MPa], 0 or more.

    Returns:
        Same shape. [MPa]

    Source:
        ACI 318-14 eq. 19.2.2.1b in SI, 4700 sqrt(f'c). From memory, not checked against the standard.
    """
    return 4700.0 * np.sqrt(np.asarray(strength_mpa, dtype=np.float64))


def tensile_strength(strength_mpa: ArrayLike, factor: ArrayLike = 0.33) -> Floats:
    """Return the direct tensile strength.

    Args:
        strength_mpa: Compressive strength, any shape. [MPa], 0 or more.
        factor: Broadcasts.

    Returns:
        Broadcast shape. [MPa]

    Source:
        0.33 sqrt(f'c), 4 sqrt(f'c) in psi: ACI practice for direct tension. From memory, not checked.
    """
    return np.asarray(factor) * np.sqrt(np.asarray(strength_mpa, dtype=np.float64))


def drying_shrinkage(days: ArrayLike, ultimate: ArrayLike) -> Floats:
    """Return the shrinkage of concrete after so many days of drying.

    Args:
        days: Of drying, any shape. [d], 0 or more.
        ultimate: Shrinkage in the end, broadcasts.

    Returns:
        Broadcast shape, strain.

    Source:
        ACI 209R-92: t/(35 + t) of 780 microstrain after moist curing. From memory, not checked.
    """
    dried = np.asarray(days, dtype=np.float64)
    return np.asarray(ultimate) * dried / (35.0 + dried)


def mean_through_depth(surface: ArrayLike, middle: ArrayLike, bottom: ArrayLike) -> Floats:
    """Return the mean through the depth by Simpson's rule, exact for a parabola; broadcast shape."""
    mean: Floats = (np.asarray(surface) + 4.0 * np.asarray(middle) + np.asarray(bottom)) / 6.0
    return mean


def restrained_tension(
    strain: ArrayLike, modulus_mpa: ArrayLike, restraint: ArrayLike, kept: ArrayLike
) -> Floats:
    """Return the tension of a slab that cannot shorten freely.

    Args:
        strain: Shortening that a free slab would show, any shape.
        modulus_mpa: Of elasticity, broadcasts. [MPa]
        restraint: Share of the shortening that the ground prevents, 0 to 1.
        kept: Share of the stress that relaxation leaves, 0 to 1.

    Returns:
        Broadcast shape. [MPa]

    Source:
        Hooke's law with a degree of restraint and a relaxation factor, as ACI 207.2R treats mass concrete.
        From memory, not checked. Curling and the friction's growth towards the middle are left out.
    """
    tension: Floats = np.asarray(restraint) * np.asarray(kept) * np.asarray(modulus_mpa) * np.asarray(strain)
    return tension
