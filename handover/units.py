"""Quantities at the edge: "4 in", "3000 psi", "90 degF" in; the reader's units out; SI in between.

Untrusted text never reaches a parser of expressions. A quantity is one number (or feet and inches) and one
unit; the unit is looked up in the closed table of its kind, and its size, exact, in the table of units.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache, partial
from typing import TYPE_CHECKING, Literal, TypeVar

from handover.base.text import quoted_text
from handover.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    Values = TypeVar("Values", float, NDArray[np.float64])

System = Literal["us", "si"]
KindName = Literal[
    "thickness",
    "length",
    "area",
    "volume",
    "water",
    "mass",
    "temperature",
    "temperature difference",
    "strength",
    "content",
    "application rate",
    "rain",
    "evaporation",
    "thermal resistance",
    "duration",
    "wind speed",
    "maturity",
]

MAX_TEXT = 40  # characters of a quantity; a longer text is not a quantity

# Exact by definition: international yard and pound, US gallon of 231 in3, International Table BTU, standard
# gravity, degree Fahrenheit of 5/9 K.
_INCH = Fraction("0.0254")  # m
_FOOT = 12 * _INCH
_YARD = 3 * _FOOT
_POUND = Fraction("0.45359237")  # kg
_GRAVITY = Fraction("9.80665")  # m/s2
_PSI = _POUND * _GRAVITY / _INCH**2  # Pa
_BTU = Fraction("1055.05585262")  # J
_HOUR = Fraction(3600)  # s
_RANKINE = Fraction(5, 9)  # K

SIZES: Mapping[str, Fraction] = {
    "meter": Fraction(1),
    "millimeter": Fraction(1, 1000),
    "centimeter": Fraction(1, 100),
    "inch": _INCH,
    "foot": _FOOT,
    "yard": _YARD,
    "meter**2": Fraction(1),
    "foot**2": _FOOT**2,
    "yard**2": _YARD**2,
    "meter**3": Fraction(1),
    "foot**3": _FOOT**3,
    "yard**3": _YARD**3,
    "liter": Fraction(1, 1000),
    "gallon": 231 * _INCH**3,
    "kilogram": Fraction(1),
    "pound": _POUND,
    "degC": Fraction(1),
    "degF": _RANKINE,
    "delta_degC": Fraction(1),
    "delta_degF": _RANKINE,
    "megapascal": Fraction(10**6),
    "psi": _PSI,
    "kilopsi": 1000 * _PSI,
    "kilogram_force/centimeter**2": 10_000 * _GRAVITY,
    "kilogram/meter**3": Fraction(1),
    "pound/yard**3": _POUND / _YARD**3,
    "millimeter/hour": Fraction(1, 1000) / _HOUR,
    "centimeter/hour": Fraction(1, 100) / _HOUR,
    "inch/hour": _INCH / _HOUR,
    "kilogram/meter**2/hour": 1 / _HOUR,
    "pound/foot**2/hour": _POUND / _FOOT**2 / _HOUR,
    "delta_degC*meter**2/watt": Fraction(1),
    "delta_degF*foot**2*hour/BTU": _RANKINE * _FOOT**2 * _HOUR / _BTU,
    "minute": Fraction(60),
    "hour": _HOUR,
    "day": 24 * _HOUR,
    "meter/second": Fraction(1),
    "kilometer/hour": 1000 / _HOUR,
    "mile/hour": 5280 * _FOOT / _HOUR,
    "delta_degC*hour": _HOUR,
    "delta_degF*hour": _RANKINE * _HOUR,
    "kelvin": Fraction(1),
    "pascal": Fraction(1),
    "knot": 1852 / _HOUR,
    "foot/second": _FOOT,
    "watt/meter**2": Fraction(1),
    "kilowatt/meter**2": Fraction(1000),
    "dimensionless": Fraction(1),
    "percent": Fraction(1, 100),
    "tenth": Fraction(1, 10),
    "okta": Fraction(1, 8),
}
"""Every unit that the program knows, in coherent SI units (m, kg, s, K, Pa); the tests compare with pint."""

TEMPERATURES: Mapping[str, str] = {
    "c": "degC",
    "f": "degF",
    "k": "kelvin",
    "celsius": "degC",
    "fahrenheit": "degF",
    "kelvin": "kelvin",
}
"""Units of temperature in the headings of tables, plain (see `plain_unit`), to their names in `SIZES`."""

_ZEROS = {"degC": Fraction("273.15"), "degF": Fraction("459.67") * _RANKINE}
"""Where a scale of temperature begins. [K]"""


@dataclass(frozen=True)
class QuantityKind:
    """A kind of quantity.

    Attributes:
        noun: What it is called, with its article.
        si: Unit inside the program, by its name in `SIZES`.
        reads: Units it may be written in, tidied (see `_normalise_unit`), to their names in `SIZES`.
        examples: How to write one, in US and in SI units.
        out: Name of the unit in `SIZES` and label as people read it, for each system.
    """

    noun: str
    si: str
    reads: Mapping[str, str]
    examples: tuple[str, str]
    out: Mapping[System, tuple[str, str]]


_SHORT = {"in": "inch", "ft": "foot", "mm": "millimeter", "cm": "centimeter", "m": "meter"}
_LONG = _SHORT | {"yd": "yard"}
_PER_HOUR = {
    "in/h": "inch/hour",
    "mm/h": "millimeter/hour",
    "cm/h": "centimeter/hour",
    "l/m2/h": "millimeter/hour",
}
_R_UNIT = "degfft2h/btu"  # the unit of an R-value in the United States
_US_RESISTANCE = "delta_degF*foot**2*hour/BTU"
_SI_RESISTANCE = "delta_degC*meter**2/watt"

KINDS: Mapping[KindName, QuantityKind] = {
    "thickness": QuantityKind(
        "a thickness",
        "meter",
        _SHORT,
        ("4 in", "100 mm"),
        {"us": ("inch", "in"), "si": ("millimeter", "mm")},
    ),
    "length": QuantityKind(
        "a length", "meter", _LONG, ("34 ft", "10.4 m"), {"us": ("foot", "ft"), "si": ("meter", "m")}
    ),
    "area": QuantityKind(
        "an area",
        "meter**2",
        {"ft2": "foot**2", "sf": "foot**2", "m2": "meter**2", "yd2": "yard**2"},
        ("884 ft2", "82 m2"),
        {"us": ("foot**2", "ft²"), "si": ("meter**2", "m²")},
    ),
    "volume": QuantityKind(
        "a volume of concrete",
        "meter**3",
        # In the trade a yard of concrete is a cubic yard.
        {
            "yd3": "yard**3",
            "cy": "yard**3",
            "yd": "yard**3",
            "ft3": "foot**3",
            "cf": "foot**3",
            "m3": "meter**3",
            "l": "liter",
        },
        ("8 yd3", "6 m3"),
        {"us": ("yard**3", "yd³"), "si": ("meter**3", "m³")},
    ),
    "water": QuantityKind(
        "an amount of water",
        "liter",
        {"gal": "gallon", "usgal": "gallon", "l": "liter", "m3": "meter**3"},
        ("5 gal", "20 L"),
        {"us": ("gallon", "gal"), "si": ("liter", "L")},
    ),
    "mass": QuantityKind(
        "a mass",
        "kilogram",
        {"lb": "pound", "kg": "kilogram"},
        ("94 lb", "43 kg"),
        {"us": ("pound", "lb"), "si": ("kilogram", "kg")},
    ),
    "temperature": QuantityKind(
        "a temperature",
        "degC",
        {"degf": "degF", "degc": "degC"},
        ("84 degF", "29 degC"),
        {"us": ("degF", "°F"), "si": ("degC", "°C")},
    ),
    "temperature difference": QuantityKind(
        "a difference of temperature",
        "delta_degC",
        {"degf": "delta_degF", "degc": "delta_degC", "k": "delta_degC"},
        ("20 degF", "11 degC"),
        {"us": ("delta_degF", "°F"), "si": ("delta_degC", "°C")},
    ),
    "strength": QuantityKind(
        "a strength",
        "megapascal",
        {
            "psi": "psi",
            "lb/in2": "psi",
            "ksi": "kilopsi",
            "mpa": "megapascal",
            "n/mm2": "megapascal",
            "kg/cm2": "kilogram_force/centimeter**2",
            "kgf/cm2": "kilogram_force/centimeter**2",
        },
        ("3000 psi", "20 MPa"),
        {"us": ("psi", "psi"), "si": ("megapascal", "MPa")},
    ),
    "content": QuantityKind(
        "a content of cementitious material",
        "kilogram/meter**3",
        {
            "lb/yd3": "pound/yard**3",
            "lb/cy": "pound/yard**3",
            "pcy": "pound/yard**3",
            "kg/m3": "kilogram/meter**3",
        },
        ("564 lb/yd3", "335 kg/m3"),
        {"us": ("pound/yard**3", "lb/yd³"), "si": ("kilogram/meter**3", "kg/m³")},
    ),
    "application rate": QuantityKind(
        "a rate of watering",
        "millimeter/hour",
        _PER_HOUR,
        ("0.4 in/h", "10 mm/h"),
        {"us": ("inch/hour", "in/h"), "si": ("millimeter/hour", "mm/h")},
    ),
    "rain": QuantityKind(
        "a depth of rain",
        "millimeter",
        {"in": "inch", "mm": "millimeter", "cm": "centimeter"},
        ("0.25 in", "6 mm"),
        {"us": ("inch", "in"), "si": ("millimeter", "mm")},
    ),
    "evaporation": QuantityKind(
        "a rate of evaporation",
        "kilogram/meter**2/hour",
        {"lb/ft2/h": "pound/foot**2/hour", "kg/m2/h": "kilogram/meter**2/hour"},
        ("0.2 lb/ft2/h", "1 kg/m2/h"),
        {"us": ("pound/foot**2/hour", "lb/ft²/h"), "si": ("kilogram/meter**2/hour", "kg/m²/h")},
    ),
    "thermal resistance": QuantityKind(
        "a thermal resistance",
        _SI_RESISTANCE,
        dict.fromkeys((_R_UNIT, "ft2degfh/btu", "hft2degf/btu", "hdegfft2/btu"), _US_RESISTANCE)
        | dict.fromkeys(("m2k/w", "km2/w", "m2degc/w", "degcm2/w"), _SI_RESISTANCE),
        ("R-5", "0.9 m2K/W"),
        {"us": (_US_RESISTANCE, "°F·ft²·h/BTU"), "si": (_SI_RESISTANCE, "m²K/W")},
    ),
    "duration": QuantityKind(
        "a length of time",
        "hour",
        {"h": "hour", "d": "day", "min": "minute"},
        ("168 h", "7 d"),
        {"us": ("hour", "h"), "si": ("hour", "h")},
    ),
    "wind speed": QuantityKind(
        "a wind speed",
        "meter/second",
        {"mi/h": "mile/hour", "km/h": "kilometer/hour", "m/s": "meter/second"},
        ("12 mph", "20 km/h"),
        {"us": ("mile/hour", "mph"), "si": ("kilometer/hour", "km/h")},
    ),
    "maturity": QuantityKind(
        "a temperature-time factor",
        "delta_degC*hour",
        {"degch": "delta_degC*hour", "degfh": "delta_degF*hour"},
        ("1800 degF h", "1000 degC h"),
        {"us": ("delta_degF*hour", "°F·h"), "si": ("delta_degC*hour", "°C·h")},
    ),
}

# How people write a unit, to the one spelling that the tables above hold.
_WORDS = (
    dict.fromkeys(("inch", "inches", "pulgada", "pulgadas", "pulg", "pouces", "po"), "in")
    | dict.fromkeys(("foot", "feet", "pie", "pies", "pieds", "pi"), "ft")
    | dict.fromkeys(("yard", "yards", "yds"), "yd")
    | dict.fromkeys(("millimeter", "millimeters", "millimetre", "millimetres"), "mm")
    | dict.fromkeys(("centimeter", "centimeters", "centimetre", "centimetres"), "cm")
    | dict.fromkeys(("meter", "meters", "metre", "metres", "metro", "metros"), "m")
    | dict.fromkeys(("lbs", "lbf", "pound", "pounds"), "lb")
    | dict.fromkeys(("gallon", "gallons", "gals"), "gal")
    | dict.fromkeys(("liter", "liters", "litre", "litres"), "l")
    | dict.fromkeys(("hr", "hrs", "hour", "hours"), "h")
    | dict.fromkeys(("minute", "minutes", "mins"), "min")
    | dict.fromkeys(("day", "days"), "d")
    | dict.fromkeys(("f", "fahrenheit", "degfahrenheit"), "degf")
    | dict.fromkeys(("c", "celsius", "degcelsius"), "degc")
    | {"sqft": "ft2", "sqm": "m2", "sqyd": "yd2", "cuyd": "yd3", "cuft": "ft3", "cum": "m3"}
    | {"mph": "mi/h", "kmh": "km/h", "kph": "km/h"}
)

_SIGNS = str.maketrans(
    {
        "º": "°",
        "℃": "°C",
        "℉": "°F",
        "\u2032": "'",
        "\u2019": "'",
        "″": '"',
        "”": '"',
        "“": '"',
        "\u2212": "-",
        "\u2013": "-",  # a dash is what a phone makes of 4-1/2
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
    }
)
_FRACTION = r"(?:(?P<whole>[0-9]{1,6})(?:\s+|\s*-\s*))?(?P<top>[0-9]{1,3})\s*/\s*(?P<bottom>[0-9]{1,3})"
_NUMBER = re.compile(
    rf"(?P<sign>[-+]?)\s*(?:{_FRACTION}|(?P<decimal>[0-9]{{1,9}}(?:\.[0-9]{{1,9}})?|\.[0-9]{{1,9}}))"
)
_FEET_AND_INCHES = re.compile(
    r"(?P<feet>[0-9]+)\s*(?:ft\.?|feet|foot|')\s*-?\s*(?P<inches>[0-9][^a-z\"']*)(?:in\.?|inch|inches|\")"
)
_PREFIX = re.compile(r"^(wmounit|nwsunit|unit)[:\s]")
_DEGREES = re.compile(r"^(degrees?|deg)(?=[cfk])")
_R_VALUE = re.compile(r"r\s*-?\s*(?P<value>[0-9]{1,3}(?:\.[0-9]{1,3})?)")


def read_quantity(raw: object, kind: KindName) -> float | Finding:
    """Read a quantity as people write it.

    Args:
        raw: The value in the record: text such as "4 1/2 in", or any other value.
        kind: What it ought to be.

    Returns:
        The value in the SI unit of its kind, or a finding without file, line and field.
    """
    if isinstance(raw, str):
        return _read_text(raw, kind)
    expected = KINDS[kind]
    us, si = expected.examples
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return Finding(f'{quoted_text(raw)} has no unit; write it as "{us}" or "{si}"')
    return Finding(
        f"{quoted_text(raw)} is not a quantity", expected=f"{expected.noun} with its unit", example=f'"{us}"'
    )


_AMERICAN = ("inch", "foot", "yard", "degF", "psi", "pound", "gallon", "BTU", "mile")


def system_of(text: str, kind: KindName) -> System | None:
    """Return the system that a quantity is written in; None where it is neither, or both, as hours are."""
    expected = KINDS[kind]
    if expected.out["us"] == expected.out["si"]:
        return None
    _, unit = _number_and_unit(_plain(text), expected)
    if unit not in expected.reads:
        return None
    return "us" if any(each in expected.reads[unit] for each in _AMERICAN) else "si"


def quantity(text: str, kind: KindName) -> float:
    """Return a quantity that the program itself writes down, such as a limit.

    Raises:
        ValueError: The text is not a quantity of that kind.
    """
    value = read_quantity(text, kind)
    if isinstance(value, Finding):
        raise ValueError(str(value))  # noqa: TRY004  the text is wrong, not its type
    return value


@cache
def conversion(unit: str, to: str) -> tuple[float, float]:
    """Return scale and offset, in the second unit, of the line from one unit of `SIZES` to another."""
    offset = (_ZEROS.get(unit, Fraction(0)) - _ZEROS.get(to, Fraction(0))) / SIZES[to]
    return float(SIZES[unit] / SIZES[to]), float(offset)


def plain_unit(text: str) -> str:
    """Return the letters, digits and per cent signs of a unit in a heading: "km_h-1" becomes "kmh1"."""
    spelled = _PREFIX.sub("", unicodedata.normalize("NFKC", text).strip().lower())
    spelled = re.sub(r"[^a-z0-9%]", "", spelled)
    # "mp/h" is one service's spelling of miles an hour; "wm2" and "wm-2" come out alike.
    return _DEGREES.sub("", spelled)


def to_reader(value: Values, kind: KindName, system: System) -> tuple[Values, str]:
    """Return a value in the reader's unit, unrounded, and the unit's label.

    Args:
        value: In the SI unit of its kind; a number or an array.
        kind: Its kind. A thickness is in inches or millimetres, a length in feet or metres.
        system: "us" or "si".
    """
    unit, label = KINDS[kind].out[system]
    scale, offset = conversion(KINDS[kind].si, unit)
    return value * scale + offset, label


def format_for_reader(value: float, kind: KindName, system: System) -> str:
    """Return a value in the reader's unit for a message: four figures and the unit."""
    number, unit = to_reader(value, kind, system)
    return f"{number:.0f} {unit}" if abs(number) >= 1000 else f"{number:.4g} {unit}"  # noqa: PLR2004  four figures


@lru_cache(maxsize=512)
def _read_text(raw: str, kind: KindName) -> float | Finding:
    expected = KINDS[kind]
    us, si = expected.examples
    fault = partial(Finding, expected=f"{expected.noun} with its unit", example=f'"{us}" or "{si}"')
    if len(raw) > MAX_TEXT:
        return fault(f"{quoted_text(raw)} is too long for a quantity")
    text = _plain(raw)
    if re.search(r"[0-9]\s*,\s*[0-9]", text):
        return fault(
            f"{quoted_text(raw)} has a comma, which may mean a decimal or a thousand; write 4.5, 3000"
        )
    number, unit = _number_and_unit(text, expected)
    if number is None:
        return fault(f"{quoted_text(raw)} cannot be read as a number with a unit")
    if not unit:
        return Finding(f'{quoted_text(raw)} has no unit; write it as "{us}" or "{si}"')
    if unit not in expected.reads:
        return fault(f"{quoted_text(raw)} is not in a unit of {expected.noun}")
    return _convert(number, expected.reads[unit], expected.si)


def _number_and_unit(text: str, kind: QuantityKind) -> tuple[float | None, str]:
    """Return the number and the tidied unit of a plain text; None for a number that is none."""
    if "ft" in kind.reads and (both := _FEET_AND_INCHES.fullmatch(text)):
        inches = _number(both["inches"].strip())
        if inches is not None and 0 <= inches < 12:  # noqa: PLR2004  inches in a foot
            return int(both["feet"]) * 12 + inches, "in"
    if kind is KINDS["thermal resistance"] and (r_value := _R_VALUE.fullmatch(text)):
        return float(r_value["value"]), _R_UNIT
    if not (leading := _NUMBER.match(text)):
        return None, ""
    # "4-in." is how specifications write it.
    return _number(leading[0].strip()), _normalise_unit(text[leading.end() :].strip().removeprefix("-"))


def _plain(written: str) -> str:
    """Return the text in small letters, with the typographer's signs made plain."""
    text = re.sub(r"(?<=[A-Za-z])[²³]", lambda power: "2" if power[0] == "²" else "3", written.strip())
    text = "".join(_spell_out(char) for char in text)
    return text.translate(_SIGNS).casefold().strip()


def _spell_out(char: str) -> str:
    """Return "½" as " 1/2", and any other character as it is."""
    if unicodedata.decomposition(char).startswith("<fraction>"):
        return " " + unicodedata.normalize("NFKC", char).replace("\u2044", "/")
    return char


def _number(text: str) -> float | None:
    """Return the number that a text such as "4.5", "4 1/2" or "4-1/2" is, or None."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        return None
    if match["decimal"]:
        number = float(match["decimal"])
    elif int(match["bottom"]) == 0:
        return None
    else:
        number = int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    return -number if match["sign"] == "-" else number


def _normalise_unit(unit: str) -> str:
    """Return "sq. ft.", "FT^2" or "square feet" as "ft2"."""
    unit = unit.replace("''", '"').replace('"', "in").replace("'", "ft")
    unit = re.sub(r"\bper\b", "/", unit)
    unit = re.sub(r"(?:°|\bdegrees?\b|\bdeg\b)\.?\s*", "deg", unit)
    unit = re.sub(r"[a-z]+", lambda word: _WORDS.get(word[0], word[0]), unit)
    unit = re.sub(r"\b(?:sq|square)\b\.?\s*([a-z]+)", r"\g<1>2", unit)
    unit = re.sub(r"\b(?:cu|cubic)\b\.?\s*([a-z]+)", r"\g<1>3", unit)
    return re.sub(r"[\s.^*·⋅]", "", unit)


def _convert(value: float, unit: str, to: str) -> float:
    scale, offset = conversion(unit, to)
    return value * scale + offset
