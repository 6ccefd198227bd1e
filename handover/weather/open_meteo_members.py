"""The members of an ensemble in an hourly answer of Open-Meteo (``/v1/ensemble``).

    {"hourly_units": {"temperature_2m": "°C", "temperature_2m_member01": "°C", ...},
     "hourly": {"time": [...], "temperature_2m": [...], "temperature_2m_member01": [...], ...}}

The bare name is the control run, which is a member like the others. An answer for more than one model has the
model behind each name (``temperature_2m_member01_ncep_gefs_seamless``): the model with the most members is
read. What cannot be read of the members is a caution, never a fault: the forecast is usable without them.

Source:
    Open-Meteo, documentation of the ensemble API.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from handover.air.psychrometrics import humidity_from_dew_point
from handover.errors import Finding
from handover.weather.quantities import QUANTITY_LIMITS, WeatherQuantity, find_unit
from handover.weather.raw_weather import parse_number
from handover.weather.uncertainty import ForecastMembers

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.raw_weather import TimeArray

_NAMES = {
    WeatherQuantity.AIR: "temperature_2m",
    WeatherQuantity.DEW_POINT: "dew_point_2m",
    WeatherQuantity.HUMIDITY: "relative_humidity_2m",
    WeatherQuantity.WIND: "wind_speed_10m",
    WeatherQuantity.CLOUD: "cloud_cover",
}
_COLUMNS: dict[WeatherQuantity, str] = {
    WeatherQuantity.AIR: "air_c",
    WeatherQuantity.HUMIDITY: "relative_humidity",
    WeatherQuantity.WIND: "wind_ms",
    WeatherQuantity.CLOUD: "cloud",
}
_MEMBER = re.compile(rf"({'|'.join(_NAMES.values())})_member(\d{{2,3}})((?:_[a-z0-9_]+)?)")
_NUMBER_TYPES = frozenset({int, float, type(None)})
_HOUR_S = 3600
_CONTROL = 0


def model_suffix(hourly: Mapping[str, Any]) -> str | None:
    """Return what follows the names of the model with the most members: "" or "_MODEL"; None: no members.

    Of two models with as many members, the first by name.
    """
    found = Counter(match[3] for name in hourly if (match := _MEMBER.fullmatch(str(name))))
    return min(found, key=lambda suffix: (-found[suffix], suffix), default=None)


def read_members(
    document: Mapping[str, Any], time: TimeArray, file: str
) -> tuple[ForecastMembers | None, list[Finding]]:
    """Return the members of an hourly answer, or None where it has none, with cautions.

    Args:
        document: The answer.
        time: Its hours, UTC, shape (n,).
        file: Name of the file, for the cautions.
    """
    hourly, units = document["hourly"], document.get("hourly_units")
    suffix = model_suffix(hourly)
    if suffix is None:
        return None, []
    _, first = np.unique(time, return_index=True)
    hours = first[time[first].astype("datetime64[s]").astype(np.int64) % _HOUR_S == 0]
    reader = _Reader(hourly, units if isinstance(units, Mapping) else {}, suffix, len(time))
    numbers = reader.numbers()
    values = {quantity: reader.values(quantity, numbers)[hours] for quantity in _NAMES}
    humidity, dew_point = values[WeatherQuantity.HUMIDITY], values[WeatherQuantity.DEW_POINT]
    computed = humidity_from_dew_point(values[WeatherQuantity.AIR], dew_point)
    values[WeatherQuantity.HUMIDITY] = np.where(np.isnan(humidity), computed, humidity)
    states = {
        column: values[quantity]
        for quantity, column in _COLUMNS.items()
        if np.isfinite(values[quantity]).any()
    }
    model = suffix.removeprefix("_")
    source = f"Open-Meteo, {model}" if model else "Open-Meteo"
    members = ForecastMembers(time[hours], states, source) if states and len(hours) else None
    return members, reader.cautions(file)


class _Reader:
    """The columns of one model, and what of them cannot be read."""

    def __init__(self, hourly: Mapping[str, Any], units: Mapping[str, Any], suffix: str, count: int) -> None:
        self.hourly = hourly
        self.units = units
        self.suffix = suffix
        self.count = count
        self.too_long: list[str] = []
        self.wrong: Counter[str] = Counter()
        self.unknown_units: list[str] = []

    def numbers(self) -> list[int]:
        """Return the numbers of the members in order, the control run first."""
        found = (_MEMBER.fullmatch(str(name)) for name in self.hourly)
        named = {int(match[2]) for match in found if match and match[3] == self.suffix}
        return [_CONTROL, *sorted(named - {_CONTROL})]

    def values(self, quantity: WeatherQuantity, numbers: list[int]) -> Floats:
        """Return a quantity of the members in SI, shape (n, k), NaN where there is no usable value."""
        limits = QUANTITY_LIMITS[quantity]
        columns = np.full((len(numbers), self.count), np.nan)
        for at, number in enumerate(numbers):
            base = _NAMES[quantity] + (f"_member{number:02d}" if number else "")
            name = base + self.suffix
            if self.hourly.get(name) is None:
                continue
            read = self._numbers(name)
            text = self.units.get(name)
            unit = find_unit(quantity, text if isinstance(text, str) else None)
            if unit is None:
                if np.isfinite(read).any():
                    self.unknown_units.append(name)
                continue
            si = unit.to_si(read)
            impossible = (si < limits.low) | (si > limits.high) | np.isinf(si)
            if impossible.any():
                self.wrong[name] += int(impossible.sum())
            columns[at, : len(si)] = np.clip(
                np.where(impossible, np.nan, si), limits.clip_low, limits.clip_high
            )
        return columns.T

    def _numbers(self, name: str) -> Floats:
        """Return a column, NaN where it has no number; a short one ends early, a long one is not used."""
        values = self.hourly[name]
        if not isinstance(values, list) or len(values) > self.count:
            self.too_long.append(name)
            return np.empty(0)
        if not _NUMBER_TYPES.issuperset(map(type, values)):
            usable = [each if type(each) in _NUMBER_TYPES else None for each in values]
            self.wrong[name] += sum(type(each) not in _NUMBER_TYPES for each in values)
            values = usable
        try:
            return np.array(values, dtype=np.float64)
        except OverflowError:  # an integer beyond any number
            return np.array([parse_number(each) for each in values], dtype=np.float64)

    def cautions(self, file: str) -> list[Finding]:
        """Return one caution for each kind of trouble."""
        troubles = (
            (self.too_long, "not as many values as hours; such members are not used"),
            (self.unknown_units, "a unit that is not known; such members are not used"),
            (list(self.wrong), f"{self.wrong.total()} values that are no possible number; they are left out"),
        )
        return [
            Finding(
                f"the members have {problem}", file=file, field=f"hourly.{min(names)}", severity="caution"
            )
            for names, problem in troubles
            if names
        ]
