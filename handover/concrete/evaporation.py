"""Evaporation of bleed or curing water from a wet concrete surface."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from handover.air.psychrometrics import saturation_pressure, vapour_pressure
from handover.errors import OutOfRange
from handover.units import conversion

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats


_RATE, _ = conversion("pound/foot**2/hour", "kilogram/meter**2/hour")
_PRESSURE, _ = conversion("psi", "pascal")
_SPEED, _ = conversion("mile/hour", "meter/second")

# Menzel: W = 0.44 (e0 - ea)(0.253 + 0.096 V), lb/ft2/h, psi, mph.
_STILL_AIR: Final = 0.44 * 0.253 * _RATE / _PRESSURE  # kg/(m2 h Pa)
_PER_WIND: Final = 0.44 * 0.096 * _RATE / _PRESSURE / _SPEED  # the same, per m/s

WIND_HEIGHT_M: Final = 0.5  # Menzel's wind is read 20 in. above the slab
WIND_EXPONENT: Final = 1.0 / 7.0


def evaporation_rate(
    surface_c: ArrayLike, air_c: ArrayLike, relative_humidity: ArrayLike, wind_ms: ArrayLike
) -> Floats:
    """Return the rate at which a wet concrete surface loses water.

    A semi-quantitative guide: real evaporation differs from it by about 40 % either way (Hover 2020), so
    print it as a band. Where dew would form the answer is 0.

    Args:
        surface_c: Temperature of the concrete's surface, any shape. [degC]
        air_c: Temperature of the air, broadcasts. [degC]
        relative_humidity: Of the air, broadcasts. 0 to 1.
        wind_ms: Mean wind 0.5 m above the surface (see `wind_at`), broadcasts. [m/s], 0 or more.

    Returns:
        Broadcast shape, 0 or more. [kg/(m2 h)]

    Source:
        Menzel (1954), Causes and prevention of crack development in plastic concrete, PCA:
        W = 0.44 (e0 - ea)(0.253 + 0.096 V) in lb/ft2/h, psi and mph (from memory; agrees with the table of
        Lerch (1957) to 0.009 lb/ft2/h). The units are converted exactly: 0.3116 (e0 - ea)(0.253 + 0.0597 V)
        in kPa and km/h, where the metric form usually printed has 0.315 and runs 1.1 % high.

    Raises:
        OutOfRange: wind below 0, humidity outside 0 to 1, a temperature outside -100 to 200 degC.
    """
    wind = np.asarray(wind_ms, dtype=np.float64)
    if not np.all(wind >= 0.0):
        raise OutOfRange("wind speed is 0 m/s or more")
    deficit = saturation_pressure(surface_c) - vapour_pressure(air_c, relative_humidity)
    return np.maximum(transfer_coefficient(wind) * deficit, 0.0)


def transfer_coefficient(wind_ms: ArrayLike) -> Floats:
    """Return the coefficient of vapour transfer, unchecked: evaporation for each pascal of deficit.

    Args:
        wind_ms: Mean wind 0.5 m above the surface, any shape. [m/s], 0 or more.

    Returns:
        Same shape. [kg/(m2 h Pa)]

    Source:
        The wind function of Menzel (1954); see `evaporation_rate`.
    """
    return _STILL_AIR + _PER_WIND * np.asarray(wind_ms, dtype=np.float64)


def wind_at(wind_ms: ArrayLike, height_m: float = WIND_HEIGHT_M, measured_at_m: float = 10.0) -> Floats:
    """Return the wind at another height above open ground.

    The 1/7 power law gives 0.65 of the 10 m wind at 0.5 m; a log law with the roughness of short grass
    (0.03 m) would give 0.48. The power law is taken because the higher wind dries more and so is the more
    cautious of the two. The wind at 10 m itself would be more cautious still, and half too high.

    Args:
        wind_ms: Wind at ``measured_at_m``, any shape. [m/s]
        height_m: Height wanted. [m], above 0.
        measured_at_m: Height it was measured or forecast at. [m], above 0.

    Returns:
        Same shape. [m/s]

    Source:
        Power law of the neutral surface layer, exponent 1/7. Common practice.

    Raises:
        OutOfRange: a height not above 0.
    """
    if not (height_m > 0.0 and measured_at_m > 0.0):
        raise OutOfRange("heights above the ground must be greater than 0 m")
    reduction: float = (height_m / measured_at_m) ** WIND_EXPONENT
    return np.asarray(wind_ms, dtype=np.float64) * reduction
