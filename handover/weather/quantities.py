"""The quantities of weather files, their units, and the limits of their values.

Weather files use a few units, each with several spellings ("km/h", "kmh", "km_h-1", "wmoUnit:km_h-1"). A
spelling is reduced to its letters, digits and per cent sign, and looked up for its quantity; what is not in
the table is not guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from handover.units import TEMPERATURES, conversion, plain_unit

if TYPE_CHECKING:
    from handover.base.arrays import Floats


class WeatherQuantity(StrEnum):
    """What a column of weather is of; the value is the column's name in `WeatherSeries`."""

    AIR = "air_c"
    DEW_POINT = "dew_point_c"
    HUMIDITY = "relative_humidity"
    WIND = "wind_ms"
    CLOUD = "cloud"
    SHORTWAVE = "shortwave_wm2"
    RAIN = "precipitation_mm"
    RAIN_CHANCE = "precipitation_probability"


@dataclass(frozen=True)
class QuantityLimits:
    """How a quantity is called, and what is believed of it, in SI.

    Attributes:
        title: For people.
        unit: SI unit of the limits.
        low: Least that is believed.
        high: Most that is believed.
        clip_low: Values between ``low`` and this are taken as this.
        clip_high: Values between this and ``high`` are taken as this.
        example: A heading for the column, with a unit.
    """

    title: str
    unit: str
    low: float
    high: float
    clip_low: float
    clip_high: float
    example: str


# The limits are as wide as weather where concrete is placed: they find wrong units and broken sensors, not
# rare weather. Common practice, no source.
QUANTITY_LIMITS = MappingProxyType(
    {
        WeatherQuantity.AIR: QuantityLimits("air temperature", "degC", -60, 60, -60, 60, "air_temperature_c"),
        WeatherQuantity.DEW_POINT: QuantityLimits("dew point", "degC", -80, 40, -80, 40, "dew_point_c"),
        WeatherQuantity.HUMIDITY: QuantityLimits(
            "relative humidity", "1", 0, 1.05, 0, 1, "relative_humidity_percent"
        ),
        WeatherQuantity.WIND: QuantityLimits("wind speed", "m/s", 0, 75, 0, 75, "wind_speed_kmh"),
        WeatherQuantity.CLOUD: QuantityLimits("cloud cover", "1", 0, 1.05, 0, 1, "cloud_cover_percent"),
        WeatherQuantity.SHORTWAVE: QuantityLimits(
            "shortwave radiation", "W/m2", -20, 1500, 0, 1500, "shortwave_radiation_wm2"
        ),
        WeatherQuantity.RAIN: QuantityLimits("precipitation", "mm", -0.01, 400, 0, 400, "precipitation_mm"),
        WeatherQuantity.RAIN_CHANCE: QuantityLimits(
            "precipitation probability", "1", 0, 1.05, 0, 1, "precipitation_probability_percent"
        ),
    }
)

_SHARE = {
    **dict.fromkeys(("%", "percent", "pct", "percentage"), "percent"),
    **dict.fromkeys(("1", "fraction", "ratio", "share"), "dimensionless"),
}
_COVER = {**_SHARE, "tenths": "tenth", "oktas": "okta", "okta": "okta"}
_SPEED = {
    **dict.fromkeys(("ms", "ms1", "mps"), "meter/second"),
    **dict.fromkeys(("kmh", "kmh1", "kph"), "kilometer/hour"),
    **dict.fromkeys(("mph", "mih", "mileshour", "milesperhour"), "mile/hour"),
    **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), "knot"),
    **dict.fromkeys(("fts", "fps"), "foot/second"),
}
_FLUX = {
    # Wh/m2 summed over an hour is the mean of that hour in W/m2.
    **dict.fromkeys(("wm2", "whm2", "whm2h"), "watt/meter**2"),
    **dict.fromkeys(("kwm2", "kwhm2"), "kilowatt/meter**2"),
}
# A rate over one hour, and kg/m2 of water, are the depth of that hour.
_DEPTH = {
    **dict.fromkeys(("mm", "mmh", "mmh1", "kgm2", "lm2"), "millimeter"),
    **dict.fromkeys(("cm", "cmh"), "centimeter"),
    **dict.fromkeys(("m",), "meter"),
    **dict.fromkeys(("in", "inch", "inches", "inh"), "inch"),
}

_SI = MappingProxyType(
    {
        WeatherQuantity.AIR: "degC",
        WeatherQuantity.DEW_POINT: "degC",
        WeatherQuantity.HUMIDITY: "dimensionless",
        WeatherQuantity.WIND: "meter/second",
        WeatherQuantity.CLOUD: "dimensionless",
        WeatherQuantity.SHORTWAVE: "watt/meter**2",
        WeatherQuantity.RAIN: "millimeter",
        WeatherQuantity.RAIN_CHANCE: "dimensionless",
    }
)
"""The unit of each column of `WeatherSeries`, by its name in `units.SIZES`."""

_UNITS = MappingProxyType(
    {
        WeatherQuantity.AIR: TEMPERATURES,
        WeatherQuantity.DEW_POINT: TEMPERATURES,
        WeatherQuantity.HUMIDITY: _SHARE,
        WeatherQuantity.WIND: _SPEED,
        WeatherQuantity.CLOUD: _COVER,
        WeatherQuantity.SHORTWAVE: _FLUX,
        WeatherQuantity.RAIN: _DEPTH,
        WeatherQuantity.RAIN_CHANCE: _SHARE,
    }
)

_ACCEPTED = MappingProxyType(
    {
        WeatherQuantity.AIR: "degC, degF or K",
        WeatherQuantity.DEW_POINT: "degC, degF or K",
        WeatherQuantity.HUMIDITY: "percent or fraction",
        WeatherQuantity.WIND: "m/s, km/h, mph, kn or ft/s",
        WeatherQuantity.CLOUD: "percent, fraction, tenths or oktas",
        WeatherQuantity.SHORTWAVE: "W/m2, kW/m2 or Wh/m2",
        WeatherQuantity.RAIN: "mm, cm or inch",
        WeatherQuantity.RAIN_CHANCE: "percent or fraction",
    }
)


@dataclass(frozen=True)
class Unit:
    """A unit of a file, as the line that turns its numbers into SI."""

    scale: float
    shift: float

    def to_si(self, value: Floats) -> Floats:
        """Return the values in SI."""
        return np.asarray(value * self.scale + self.shift, dtype=np.float64)


def find_unit(quantity: WeatherQuantity, text: str | None) -> Unit | None:
    """Return the unit that a file names for a quantity, or None where it is none of the quantity's units."""
    known = _UNITS[quantity].get(plain_unit(text)) if text else None
    return Unit(*conversion(known, _SI[quantity])) if known else None


def accepted_units(quantity: WeatherQuantity) -> str:
    """Return the units a quantity may be given in, for people."""
    return _ACCEPTED[quantity]
