"""Quantities of the schedule in the reader's units, rounded once to figures that can be read."""

from __future__ import annotations

from math import floor, log10
from typing import TYPE_CHECKING, Literal

from handover.units import to_reader

if TYPE_CHECKING:
    from handover.units import KindName

Units = Literal["us", "si"]

KINDS: dict[str, KindName] = {
    "m": "thickness",
    "m2": "area",
    "m3": "volume",
    "L": "water",
    "degC": "temperature",
    "K": "temperature difference",
    "MPa": "strength",
    "kg/m3": "content",
    "mm/h": "application rate",
    "mm": "rain",
    "kg/m2/h": "evaporation",
    "m2K/W": "thermal resistance",
    "m/s": "wind speed",
    "degC h": "maturity",
}
"""Of what kind a value is, by the SI unit it stands in. Other units ("h", "d") read alike everywhere."""

LONG_M = 0.6
"""From here on a reader takes a length in feet or metres, not in inches or millimetres."""


def reader_value(value: float, unit: str, units: Units) -> tuple[float, str]:
    """Return an SI value in the reader's unit, and the label of that unit ("" for a plain number)."""
    kind = KINDS.get(unit)
    if unit == "m" and value >= LONG_M:
        kind = "length"
    if kind is None:
        return value, "" if unit == "1" else unit
    return to_reader(value, kind, units)


def rounded(value: float, digits: int) -> str:
    """Return a number to so many significant digits, without an exponent: "1,200" and "0.35"."""
    if value == 0:
        return "0"
    places = digits - 1 - floor(log10(abs(value)))
    text = f"{round(value, places):,.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
