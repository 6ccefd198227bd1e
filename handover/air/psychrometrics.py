"""Water vapour in air: saturation, vapour pressure, relative humidity.

Saturation pressures are the fits of the ASHRAE handbook, over water above the triple point and over ice at
and below it. ASHRAE changes over at 0 degC, which leaves a small step; at the triple point the fits meet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from handover.base.arrays import ZERO_CELSIUS_K
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats

TRIPLE_POINT_C: Final = 0.01
LOWEST_C: Final = -100.0
HIGHEST_C: Final = 200.0

# ASHRAE 2017, ch. 1, eq. 5 and 6: coefficients of 1/T, 1, T, T2, T3, T4 and ln T, T in kelvin, p in Pa. As
# arrays, because numpy makes an array of a plain number at each use.
_ICE, _WATER = (
    tuple(np.array(each) for each in fit)
    for fit in (
        (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019),
        (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673),
    )
)


def saturation_pressure(temperature_c: ArrayLike) -> Floats:
    """Return the pressure of saturated water vapour, over water above 0.01 degC and over ice below.

    Args:
        temperature_c: Any shape. [degC], -100 to 200.

    Returns:
        Same shape. [Pa]

    Source:
        ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 5 and 6. Departs from it in changing over at the
        triple point instead of 0 degC, where the fits would leave a step.

    Raises:
        OutOfRange: a temperature outside -100 to 200 degC, or not a number.
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    if not np.all((temperature >= LOWEST_C) & (temperature <= HIGHEST_C)):
        raise OutOfRange(f"saturation pressure is known from {LOWEST_C:.0f} to {HIGHEST_C:.0f} degC only")
    over_ice = temperature <= TRIPLE_POINT_C
    if not np.any(over_ice):
        return saturation_over_water(temperature)
    return np.where(over_ice, saturation_over_ice(temperature), saturation_over_water(temperature))


def saturation_over_water(temperature_c: ArrayLike) -> Floats:
    """Return the saturation pressure over liquid water, unchecked: for the inside of a time step.

    Args:
        temperature_c: Any shape. [degC], 0 to 200.

    Returns:
        Same shape. [Pa]

    Source:
        ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 6.
    """
    return np.exp(_log_pressure(_kelvin(temperature_c), _WATER))


def saturation_over_ice(temperature_c: ArrayLike) -> Floats:
    """Return the saturation pressure over ice, unchecked: for the inside of a time step.

    Args:
        temperature_c: Any shape. [degC], -100 to 0.

    Returns:
        Same shape. [Pa]

    Source:
        ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 5.
    """
    return np.exp(_log_pressure(_kelvin(temperature_c), _ICE))


def vapour_pressure(temperature_c: ArrayLike, relative_humidity: ArrayLike) -> Floats:
    """Return the partial pressure of water vapour in air.

    Args:
        temperature_c: Of the air, any shape. [degC], -100 to 200.
        relative_humidity: Over water above 0.01 degC and over ice below, broadcasts. 0 to 1.

    Returns:
        Broadcast shape. [Pa]

    Source:
        Definition of relative humidity, ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 12.

    Raises:
        OutOfRange: a relative humidity outside 0 to 1, or a temperature outside -100 to 200 degC.
    """
    humidity = np.asarray(relative_humidity, dtype=np.float64)
    if not np.all((humidity >= 0.0) & (humidity <= 1.0)):
        raise OutOfRange("relative humidity is a share between 0 and 1 (50 % is 0.50)")
    return humidity * saturation_pressure(temperature_c)


def humidity_from_dew_point(air_c: ArrayLike, dew_point_c: ArrayLike) -> Floats:
    """Return the relative humidity over liquid water, as weather stations and services report it.

    Args:
        air_c: Air temperature, any shape. [degC], -60 to 60.
        dew_point_c: Dew point over liquid water, below freezing too; broadcasts. [degC]

    Returns:
        Broadcast shape, at most 1: a dew point above the air's own temperature is rounding or fog. NaN where
        one of the two is NaN.

    Source:
        Definition, ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 6, 12 and 36. Departs from it below
        freezing, where ASHRAE takes ice: the dew point of weather reports is over water at every temperature
        (WMO-No. 8, chapter 4). There eq. 6 is used beyond its range.
    """
    return np.minimum(saturation_over_water(dew_point_c) / saturation_over_water(air_c), 1.0)


def _kelvin(temperature_c: ArrayLike) -> Floats:
    return np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K


def _log_pressure(kelvin: Floats, fit: tuple[Floats, ...]) -> Floats:
    inverse, one, first, second, third, fourth, log = fit
    polynomial = one + kelvin * (first + kelvin * (second + kelvin * (third + kelvin * fourth)))
    return inverse / kelvin + polynomial + log * np.log(kelvin)
