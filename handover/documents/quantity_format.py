"""Quantities of the schedule in the reader's units, rounded once to figures that can be read."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from math import floor, log10
from typing import TYPE_CHECKING, Literal

from babel.numbers import format_decimal, format_percent
from babel.units import format_unit

if TYPE_CHECKING:
    from babel.core import Locale

Units = Literal["us", "si"]

UNIT_WORDS = {"gal": "volume-gallon", "L": "volume-liter"}
"""Labels that are spelled out, with their CLDR units."""

FEET = {"in": "length-inch", "ft": "length-foot"}
"""Labels that are spelled out in English alone, with their CLDR units."""

DECIMALS = {"psi": 0, "MPa": 1, "lb/ft²/h": 3, "kg/m²/h": 2, "in": 2, "mm": 1, "°F": 0, "°C": 0}
"""Decimals of a number in a column, by the label of its unit: a column has one format."""

INCH_M = 0.0254


def significant(value: float, digits: int) -> float:
    """Return a number rounded to a number of significant digits."""
    return round(value, digits - 1 - floor(log10(abs(value)))) if value else 0.0


def format_number(value: float, locale: Locale | str = "en") -> str:
    """Return a number as the locale writes it, with all its digits and without an exponent: "1,200"."""
    return _format_digits(str(value), locale)


@lru_cache(maxsize=4096)
def _format_digits(digits: str, locale: Locale | str) -> str:
    return format_decimal(Decimal(digits).normalize(), locale=locale, decimal_quantization=False)


def format_rounded(value: float, digits: int, locale: Locale | str = "en") -> str:
    """Return a number rounded to a number of significant digits: "1,200" and "0.35"."""
    return format_number(significant(value, digits), locale)


def format_fixed(value: float, decimals: int, locale: Locale | str = "en") -> str:
    """Return a number with fixed decimals, as the locale writes it: "1,200" and "0.50"; never "-0"."""
    pattern = f"#,##0.{'0' * decimals}" if decimals else "#,##0"
    return _format_pattern(str(round(Decimal(str(value)), decimals) + 0), pattern, locale)


@lru_cache(maxsize=4096)
def _format_pattern(digits: str, pattern: str, locale: Locale | str) -> str:
    return format_decimal(Decimal(digits), format=pattern, locale=locale)


def format_percentage(share: float, digits: int, locale: Locale | str = "en") -> str:
    """Return a share of one in percent, as the locale writes it, rounded to significant digits: "35%"."""
    hundredths = Decimal(str(significant(share * 100, digits)))
    return format_percent((hundredths / 100).normalize(), locale=locale, decimal_quantization=False)


def with_unit(value: float, label: str, locale: Locale, *, spelled_out: bool) -> str:
    """Return a number with the unit of a reader's label: "120 gallons", "5\u00a0in".

    Args:
        value: In the reader's unit, rounded.
        label: The label of that unit; "" for a plain number.
        locale: The locale of words and figures.
        spelled_out: Whether feet and inches are spelled out too.
    """
    unit = UNIT_WORDS.get(label) or (FEET.get(label) if spelled_out else None)
    if unit:
        return format_unit(value, unit, "long", locale=locale)
    number = format_number(value, locale)
    return f"{number}\N{NO-BREAK SPACE}{label}" if label else number
