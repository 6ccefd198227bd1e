"""Quantities in words: in the reader's unit, rounded once, with the unit in the reader's language."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from handover.documents.quantity_format import (
    DECIMALS,
    INCH_M,
    format_fixed,
    format_number,
    format_percentage,
    format_rounded,
    significant,
    with_unit,
)
from handover.documents.translations import slug
from handover.schedule.figure_kinds import figure_kind
from handover.units import to_reader

if TYPE_CHECKING:
    from collections.abc import Iterable

    from handover.documents.words.reader import Reader
    from handover.schedule.model import Figure
    from handover.units import KindName

WHOLE_NUMBER_UNITS = ("°F", "°C", "mm", "min")
"""Labels of the units whose numbers are whole."""

UNIT_AT_TEMPERATURE = re.compile(r"(.+) at (-?[\d.]+) degC")
"""A unit that holds at a temperature: "h at 21.1 degC"."""

PER_METRE = "h/m"
"""Unit of a drying time by the thickness of the slab; US units use inches."""


class QuantityWording:
    """Quantities in the words of one reader."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.units = reader.units
        self.locale = reader.number_locale

    def amount(self, litres: float) -> str:
        """Return an amount of water, rounded for an owner."""
        return self.measure(litres, "water")

    def number_with_unit(self, value: float, unit: str, digits: int = 2) -> str:
        """Return a number with its unit, for a quantity without a kind, rounded to significant digits.

        Args:
            value: In `unit`.
            unit: "1" for a pure number, "d", "h at 21.1 degC", "h/m" ...
            digits: Significant digits; whole numbers keep all their digits.
        """
        if conditioned := UNIT_AT_TEMPERATURE.fullmatch(unit):
            plain, degrees = conditioned.groups()
            at = self.measure(float(degrees), "temperature")
            return self.reader.say(
                "quantity.at", quantity=self.number_with_unit(value, plain, digits), temperature=at
            )
        if unit == PER_METRE and self.units == "us":
            return self._with_digits(value * INCH_M, "h/in", digits)
        return self._with_digits(value, "" if unit == "1" else unit, digits)

    def measure(self, value: float, kind: KindName, digits: int = 2) -> str:
        """Return a quantity of a kind in the reader's unit, rounded to significant digits.

        Args:
            value: In the SI unit of its kind.
            kind: What it is: "thickness", "temperature".
            digits: Significant digits; whole numbers keep all their digits.
        """
        return self._with_digits(*to_reader(value, kind, self.units), digits)

    def _with_digits(self, number: float, label: str, digits: int) -> str:
        rounded = round(number) if label in WHOLE_NUMBER_UNITS else significant(number, digits)
        return self.with_label(rounded, label)

    def with_label(self, value: float, label: str) -> str:
        """Return a rounded number with its unit in the reader's language: "120 gallons"."""
        key = f"quantity.{label}"
        if self.reader.has(key):
            return self.reader.say(key, value=format_number(value, self.locale))
        spelled_out = self.reader.say("quantity.feet") == "long"
        return with_unit(value, label, self.locale, spelled_out=spelled_out)

    def number(self, value: float, kind: KindName) -> str:
        """Return a quantity in the reader's unit without the unit, for a column whose heading has it."""
        number, label = to_reader(value, kind, self.units)
        return self.fixed_decimals(number, DECIMALS[label])

    def fixed_decimals(self, value: float, decimals: int) -> str:
        """Return a plain number with fixed decimals."""
        return format_fixed(value, decimals, self.locale)

    def round_number(self, value: float, digits: int) -> str:
        """Return a plain number rounded to significant digits."""
        return format_rounded(value, digits, self.locale)

    def percent(self, share: float) -> str:
        """Return a share of one in percent, to two digits in every document: "35%"."""
        return format_percentage(share, 2, self.locale)

    def unit_name(self, kind: KindName) -> str:
        """Return the name of the reader's unit of a kind: "°F"."""
        return to_reader(0.0, kind, self.units)[1]

    def figure_name(self, figure: Figure) -> str:
        """Return the name of a figure."""
        return self.reader.say(f"figure.{slug(figure.name)}")

    def figure(self, figure: Figure, among: Iterable[Figure] = (), digits: int = 2) -> str:
        """Return the value of a figure in the reader's unit.

        A share of one always has two digits, and so has w/cm, as on the owner's sheet.

        Args:
            figure: The figure.
            among: The figures of the same reason, from which the kind of a limit follows.
            digits: Significant digits; whole numbers keep all their digits.
        """
        match figure_kind(figure, among):
            case "share":
                return self.percent(figure.value)
            case "number":
                least = 2 if figure.name == "water_cementitious" else digits
                return self.number_with_unit(figure.value, figure.unit, least)
            case kind:
                return self.measure(figure.value, kind, digits)
