"""Initial and final set, by the degree of hydration at which penetration resistance reaches its limits.

Initial set is 3.5 MPa and final set 27.6 MPa of penetration resistance (ASTM C403). On site: at initial set a
boot leaves a print of about 6 mm and floating begins; at final set it only scuffs.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.hydration import HydrationCurve, age_at_degree
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats


def set_degree(water_cementitious: ArrayLike, coefficient: ArrayLike) -> Floats:
    """Return the degree of hydration at a set, initial or final: the two differ in their coefficient alone.

    Args:
        water_cementitious: Water to cementitious ratio by mass, any shape. [1]
        coefficient: Degree of hydration at that set for a ratio of 1, broadcasts. [1]

    Returns:
        Broadcast shape. [1]

    Source:
        Schindler (2004), Prediction of concrete setting, RILEM. Some 0.14 at initial, 0.26 at final set;
        from memory, not checked.
    """
    return np.asarray(coefficient, dtype=np.float64) * np.asarray(water_cementitious, dtype=np.float64)


def set_age(degree: ArrayLike, curve: HydrationCurve) -> Floats:
    """Return the equivalent age at which the concrete sets.

    Args:
        degree: Degree of hydration at set, any shape. [1]
        curve: Of the concrete; of a retarded or accelerated one, see `scale_time`.

    Returns:
        Broadcast shape; infinite where the curve never gets there. [h] at ``curve.reference_c``
    """
    return age_at_degree(degree, curve)


def scale_time(curve: HydrationCurve, tau_factor: float | Floats) -> HydrationCurve:
    """Return the curve of a retarded (factor above 1) or accelerated (below 1) concrete.

    The factor stretches the whole curve in time, and so multiplies the set ages by itself.

    Args:
        curve: Of the concrete without the admixture.
        tau_factor: On the time constant, broadcasts. [1], above 0.

    Returns:
        A new curve.

    Raises:
        OutOfRange: a factor not above 0.
    """
    if not np.all(np.asarray(tau_factor) > 0.0):
        raise OutOfRange("the factor of an admixture on time must be above 0")
    return replace(curve, tau_h=curve.tau_h * tau_factor)
