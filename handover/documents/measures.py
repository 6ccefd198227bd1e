"""Quantities of the schedule in the reader's units, rounded once to figures that can be read."""

from __future__ import annotations

from math import floor, log10
from typing import Literal

Units = Literal["us", "si"]

IMPERIAL: dict[str, tuple[str, float]] = {
    "m": ("in", 39.37007874),
    "degC": ("degF", 1.8),
    "MPa": ("psi", 145.0377377),
    "L": ("gal", 0.2641720524),
    "kg/m2/h": ("lb/ft2/h", 0.2048161436),
    "m/s": ("mph", 2.236936292),
    "m2": ("ft2", 10.76391042),
}
METRIC: dict[str, tuple[str, float]] = {"m": ("mm", 1000), "m/s": ("km/h", 3.6)}


def reader_value(value: float, unit: str, units: Units) -> tuple[float, str]:
    """Return an SI value in the reader's unit, and that unit."""
    reader, factor = (IMPERIAL if units == "us" else METRIC).get(unit, (unit, 1.0))
    return value * factor + (32 if reader == "degF" else 0), reader


def rounded(value: float, digits: int) -> str:
    """Return a number to so many significant digits, without an exponent; "1,200" and "0.35"."""
    if value == 0:
        return "0"
    places = digits - 1 - floor(log10(abs(value)))
    text = f"{round(value, places):,.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
