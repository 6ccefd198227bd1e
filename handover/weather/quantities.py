"""The quantities of weather files, their units, and the limits of their values.

Weather files use a few units, each with several spellings ("km/h", "kmh", "km_h-1", "wmoUnit:km_h-1"). A
spelling is reduced to its letters, digits and per cent sign, and looked up for its quantity; what is not in
the table is not guessed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

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

_TEMPERATURE = {"c": (1.0, 0.0), "f": (5 / 9, -32 * 5 / 9), "k": (1.0, -273.15)}
_TEMPERATURE |= {"celsius": _TEMPERATURE["c"], "fahrenheit": _TEMPERATURE["f"], "kelvin": _TEMPERATURE["k"]}
_SHARE = {
    **dict.fromkeys(("%", "percent", "pct", "percentage"), (0.01, 0.0)),
    **dict.fromkeys(("1", "fraction", "ratio", "share"), (1.0, 0.0)),
}
_COVER = {**_SHARE, "tenths": (0.1, 0.0), "oktas": (0.125, 0.0), "okta": (0.125, 0.0)}
_SPEED = {
    **dict.fromkeys(("ms", "ms1", "mps"), (1.0, 0.0)),
    **dict.fromkeys(("kmh", "kmh1", "kph"), (1 / 3.6, 0.0)),
    **dict.fromkeys(("mph", "mih", "mileshour", "milesperhour"), (0.44704, 0.0)),
    **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), (1852 / 3600, 0.0)),
    **dict.fromkeys(("fts", "fps"), (0.3048, 0.0)),
}
_FLUX = {
    # Wh/m2 summed over an hour is the mean of that hour in W/m2.
    **dict.fromkeys(("wm2", "whm2", "whm2h"), (1.0, 0.0)),
    **dict.fromkeys(("kwm2", "kwhm2"), (1000.0, 0.0)),
}
_DEPTH = {
    **dict.fromkeys(("mm", "mmh", "mmh1", "kgm2", "lm2"), (1.0, 0.0)),
    **dict.fromkeys(("cm", "cmh"), (10.0, 0.0)),
    **dict.fromkeys(("m",), (1000.0, 0.0)),
    **dict.fromkeys(("in", "inch", "inches", "inh"), (25.4, 0.0)),
}

_UNITS = MappingProxyType(
    {
        WeatherQuantity.AIR: _TEMPERATURE,
        WeatherQuantity.DEW_POINT: _TEMPERATURE,
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

_PREFIX = re.compile(r"^(wmounit|nwsunit|unit):")
_DEGREES = re.compile(r"^(degrees?|deg)(?=[cfk])")


@dataclass(frozen=True)
class Unit:
    """A unit of a file, as the line that turns its numbers into SI."""

    scale: float
    shift: float

    def to_si(self, value: Floats) -> Floats:
        """Return the values in SI."""
        return np.asarray(value * self.scale + self.shift, dtype=np.float64)


def plain_unit(text: str) -> str:
    """Return the letters, digits and per cent signs of a unit, lower case: "km_h-1" becomes "kmh1"."""
    spelled = _PREFIX.sub("", unicodedata.normalize("NFKC", text).strip().lower())
    spelled = re.sub(r"[^a-z0-9%]", "", spelled)
    # "mp/h" is one service's spelling of miles an hour; "wm2" and "wm-2" come out alike.
    return _DEGREES.sub("", spelled)


def find_unit(quantity: WeatherQuantity, text: str | None) -> Unit | None:
    """Return the unit that a file names for a quantity, or None where it is none of the quantity's units."""
    known = _UNITS[quantity].get(plain_unit(text)) if text else None
    return Unit(*known) if known else None


def accepted_units(quantity: WeatherQuantity) -> str:
    """Return the units a quantity may be given in, for people."""
    return _ACCEPTED[quantity]
