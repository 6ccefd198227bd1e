"""Parsers for each kind of field value, and their JSON Schema.

A `FieldParser` annotates a field of the record. It returns the value in SI, or a finding: errors are values
here, and `reading` collects them.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from difflib import get_close_matches
from functools import cache, partial
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from pydantic_core import PydanticCustomError, core_schema

from handover.base.local_time import local_instant
from handover.base.number_text import plain_spellings
from handover.base.text import quoted_text
from handover.errors import Finding, is_hidden
from handover.units import KINDS, KindName, format_for_reader, quantity, read_quantity

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo

Schema = dict[str, Any]

PERCENT = 100

AS_WRITTEN = "as written"
"""Key of a validation context: values are as written in a record, such as texts with units."""


@dataclass(frozen=True)
class FieldParser:
    """Reads one value. Blank text counts as left out."""

    def parse(self, raw: object) -> object:
        """Return the value, or a `Finding` that says how to fix it."""
        raise NotImplementedError

    def schema(self) -> Schema:
        """Return the JSON Schema of the value as written."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.with_info_wrap_validator_function(self._validate, handler(source))

    def __get_pydantic_json_schema__(
        self, _: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> Schema:
        return self.schema()

    def _validate(self, raw: object, in_si: Callable[[object], object], info: ValidationInfo) -> object:
        """Return a value in the type of its field; a value as written in a record is parsed first."""
        if info.context is None or AS_WRITTEN not in info.context:
            return in_si(raw)
        if isinstance(raw, str) and not raw.strip():
            return None
        value = self.parse(raw)
        if isinstance(value, Finding):
            raise PydanticCustomError("finding", "unusable", {"finding": value})
        return value


@dataclass(frozen=True)
class QuantityField(FieldParser):
    """Text with a unit, into SI, between two limits that have a reason.

    Attributes:
        kind: What is measured.
        low: The least value.
        high: The greatest value.
        why: The reason of the limits.
        noun: Its own name where that of its kind misleads: "a slump" is no thickness.
        usual: The least value that is proposed for a number without a unit.
    """

    kind: KindName
    low: str
    high: str
    why: str
    noun: str = ""
    usual: str = ""

    def parse(self, raw: object) -> float | Finding:
        """Return the value in SI, or a finding."""
        if not isinstance(raw, str):
            return self._parse_plain(raw)
        if self.kind == "temperature" and (bare := _WITHOUT_SCALE.fullmatch(raw)):
            return self._parse_text(bare[1])
        return _two_sides(raw, self.kind) or self._parse_text(raw)

    def _parse_text(self, raw: str) -> float | Finding:
        """Return the value of a text, or a finding.

        Of the readings that commas, points and spaces allow, the only one between the limits is taken: no
        slab has 3.500 psi.
        """
        readings = {text: self._parse_plain(text) for text in plain_spellings(raw)}
        if raw in readings and not isinstance(readings[raw], Finding):
            return readings[raw]  # with a decimal point, as the record asks for
        possible = [text for text, value in readings.items() if not isinstance(value, Finding)]
        if len(possible) == 1:
            return readings[possible[0]]
        if possible:
            decimal, group = (f'"{text.strip()}"' for text in possible)
            return Finding(
                f"{quoted_text(raw)} has a comma, which may mean a decimal or a thousand: {decimal} or "
                f"{group}",
                expected="a number without a comma; decimals have a point",
                example=f"{group} or {decimal}",
            )
        fault = self._fault_of(raw, readings)
        meant = _usual_text(raw, self.kind)
        if (
            not isinstance(fault, Finding)
            or meant is None
            or isinstance(self._parse_plain(meant[0]), Finding)
        ):
            return fault
        return replace(fault, problem=f"{fault.problem}; is it {meant[1]}?", example=f'"{meant[0]}"')

    def _fault_of(self, raw: str, readings: Mapping[str, float | Finding]) -> float | Finding:
        """Return the finding about a text as it is written: of "9,500 psi", that of a thousand."""
        plain = next(iter(readings)) if raw in readings else list(readings)[-1]
        fault = readings[plain]
        if not isinstance(fault, Finding):
            return fault
        return replace(fault, problem=fault.problem.replace(quoted_text(plain), quoted_text(raw)))

    def _parse_plain(self, raw: object) -> float | Finding:
        """Return the value of a text whose number has no comma, or a finding."""
        value = read_quantity(raw, self.kind)
        if isinstance(value, Finding):
            return self._by_its_noun(value if value.example else self._without_unit(raw, value))
        # A small tolerance: 24 in is 0.6095999... or 0.6096, depending on the order of the computation.
        if value < quantity(self.low, self.kind) - 1e-9:
            return self._outside(raw, f"less than {self.low}")
        if value > quantity(self.high, self.kind) + 1e-9:
            return self._outside(raw, f"more than {self.high}")
        return value

    def schema(self) -> Schema:
        """Return text that has a digit and a unit, with the known units."""
        kind = KINDS[self.kind]
        return {
            "type": "string",
            "pattern": r"^\s*(?:[Rr]\s*-?\s*[0-9.]+|[-+]?[^,]*[0-9½¼¾⅛⅜⅝⅞]\s*[^0-9\s.,][^,]*)\s*$|^\s*$",
            "maxLength": 40,
            "examples": list(kind.examples),
            "$comment": f"{kind.noun} with its unit: {', '.join(kind.reads)}; {self.low} to {self.high}",
        }

    def _outside(self, raw: object, how: str) -> Finding:
        us, si = KINDS[self.kind].examples
        example, how_to = f'"{us}" or "{si}"', ""
        if (other := self._in_other_scale(raw)) is not None:
            example, how_to = f'"{other}"', f"; or is it {other}?"
        low, high = (
            format_for_reader(quantity(limit, self.kind), self.kind, "si") for limit in (self.low, self.high)
        )
        return Finding(
            f"{quoted_text(raw)} is {how}: {self.why}{how_to}",
            expected=f"{self.low} to {self.high} ({low} to {high})",
            example=example,
        )

    def _by_its_noun(self, fault: Finding) -> Finding:
        """Return a finding that names the quantity as its field does."""
        if not self.noun:
            return fault
        of_kind = KINDS[self.kind].noun
        return replace(
            fault,
            problem=fault.problem.replace(of_kind, self.noun),
            expected=(fault.expected or "").replace(of_kind, self.noun),
        )

    def _without_unit(self, raw: object, fault: Finding) -> Finding:
        """Return the finding about a number without a unit, with the units that would fit its limits."""
        units = (each.partition(" ")[2] for each in KINDS[self.kind].examples)
        texts = [f"{str(raw).strip()} {unit}" for unit in units if unit]
        least = quantity(self.usual or self.low, self.kind)
        likely = [
            text
            for text in texts
            if not isinstance(value := self._parse_plain(text), Finding) and value >= least - 1e-9
        ]
        return replace(
            fault,
            expected=f"{KINDS[self.kind].noun} with its unit",
            example=" or ".join(f'"{each}"' for each in likely or KINDS[self.kind].examples),
        )

    def _in_other_scale(self, raw: object) -> str | None:
        """Return a temperature in the other scale, where it is between the limits in that scale."""
        found = re.fullmatch(r"(\s*-?[0-9.]+)[^0-9a-z]*(?:deg)?[^a-z]*([cf])[a-z]*\s*", str(raw).casefold())
        if self.kind != "temperature" or found is None:
            return None
        other = f"{found[1].strip()} deg{'F' if found[2] == 'c' else 'C'}"
        value = read_quantity(other, self.kind)
        if isinstance(value, Finding):
            return None
        low, high = (quantity(limit, self.kind) for limit in (self.low, self.high))
        return other if low <= value <= high else None


_USUAL_TEXTS: tuple[tuple[KindName, str, str, str], ...] = (
    ("strength", r"c ?(\d\d)/\d\d", "{0} MPa", "the class of EN 206, {0} MPa on cylinders"),
    ("strength", r"[ns] ?(\d\d)(?: ?mpa)?", "{0} MPa", "the grade of AS 1379, {0} MPa"),
    ("strength", r"(\d{4}) ?(?:#|lbs?\.?|pounds?)", "{0} psi", "{0} psi"),
    ("content", r"(\d{3,4}) ?(?:lb|lbs|pounds?)\.?", "{0} lb/yd3", "{0} lb in a cubic yard"),
    ("content", r"(\d{3}) ?kg", "{0} kg/m3", "{0} kg in a cubic metre"),
    ("thermal resistance", r"(\d{1,2}(?:\.\d+)?)", "R-{0}", "R-{0}"),
)
"""Usual texts of a quantity that say less than its unit: kind, pattern, the text in full, and in words."""

_WITHOUT_SCALE = re.compile(r"\s*(-?[0-9]{1,3}(?:[.,][0-9]+)?)\s*(?:°|º|deg\.?|degrees?)\s*", re.IGNORECASE)
"""A temperature with its degrees, and without Fahrenheit or Celsius."""

_SIDES = re.compile(
    r"\s*([0-9]+(?:\.[0-9]+)?)\s*('|ft|feet|m)?\.?\s*(?:x|\u00d7|\*|by)\s*"
    r"([0-9]+(?:\.[0-9]+)?)\s*('|ft|feet|m)?\.?\s*",
    re.IGNORECASE,
)
"""Two sides of a slab in one text: "12x24", "12' x 24'", "12 by 24 ft"."""

_SACK_LB = 94
"""Mass of a sack of cement in the United States. [lb]"""


def _two_sides(raw: str, kind: KindName) -> Finding | None:
    """Return the finding about a length or an area that has both sides of the slab, or None."""
    found = _SIDES.fullmatch(raw) if kind in ("length", "area") else None
    if found is None:
        return None
    shorter, longer = sorted((found[1], found[3]), key=float)
    unit = (found[4] or found[2] or "").casefold()
    units = ("m",) if unit == "m" else ("ft",) if unit else ("ft", "m")
    lines = (f'length = "{longer} {each}"   and   width = "{shorter} {each}"' for each in units)
    return Finding(
        f"{quoted_text(raw)} has two sides; each has its own line",
        expected="the length and the width, each with its unit, and no area",
        example="   or   ".join(lines),
    )


def _usual_text(raw: str, kind: KindName) -> tuple[str, str] | None:
    """Return a quantity in full and in words where a usual text of it leaves its unit out, or None."""
    text = " ".join(raw.casefold().split())
    if kind == "content" and (sacks := re.fullmatch(r"([1-9](?:\.\d)?)[ -]?(?:sacks?|bags?)(?: mix)?", text)):
        pounds = f"{float(sacks[1]) * _SACK_LB:g} lb/yd3"
        return pounds, f"{sacks[1]} sacks in a cubic yard, {pounds}"
    for of_kind, pattern, full, words in _USUAL_TEXTS:
        if of_kind == kind and (found := re.fullmatch(pattern, text)):
            return full.format(found[1]), words.format(found[1])
    return None


_PER_CENT = r"(?:%|per ?cent\b|pct\b\.?|por ciento\b)"


@dataclass(frozen=True)
class NumberField(FieldParser):
    """A number without a unit, between two limits that have a reason; a share may be in percent."""

    low: float
    high: float
    why: str
    example: str
    is_share: bool = False

    def parse(self, raw: object) -> float | Finding:
        """Return the number, or a finding."""
        fault = partial(
            Finding, expected=f"a number from {self.low:g} to {self.high:g}", example=self.example
        )
        value = self._number(raw) if isinstance(raw, str) else raw
        if (
            self.is_share
            and self.low == 0
            and isinstance(raw, str)
            and plain_name(raw) in other_names("share")
        ):
            return 0.0
        if isinstance(value, bool) or not isinstance(value, int | float):
            percent = (
                re.fullmatch(rf"\s*([0-9]{{1,2}}(?:\.[0-9]+)?)\s*{_PER_CENT}\s*", raw, re.IGNORECASE)
                if isinstance(raw, str)
                else None
            )
            if percent and self.low <= float(percent[1]) / PERCENT <= self.high:
                fault = partial(fault, example=f"{float(percent[1]) / PERCENT:g}")
            return fault(f"{quoted_text(raw)} is not a bare number")
        if not self.low <= value <= self.high:  # NaN is not between the limits either
            if self.low * PERCENT <= value <= self.high * PERCENT:
                fault = partial(fault, example=f"{value / PERCENT:g}")
            return fault(f"{quoted_text(raw)} is not between {self.low:g} and {self.high:g}: {self.why}")
        return float(value)

    def _number(self, text: str) -> float | None:
        """Return the number of a text such as "0,50" or, for a share, "20 %"; None where it is none."""
        number = r"\s*([-+]?[0-9]{0,9}(?:[.,][0-9]{1,9})?)"
        found = re.fullmatch(rf"{number}\s*({_PER_CENT})?\s*", text, re.IGNORECASE)
        if found is None or not re.search("[0-9]", found[1]) or (found[2] and not self.is_share):
            return None
        value = float(found[1].replace(",", "."))
        return value / PERCENT if found[2] else value

    def schema(self) -> Schema:
        """Return a number with its limits."""
        return {
            "type": "number",
            "minimum": self.low,
            "maximum": self.high,
            "examples": [float(self.example)],
        }


_INCHES_A_FOOT = re.compile(
    r"""\s*([0-9]{1,2})(?:/([1-9][0-9]?))?\s*(?:inch|inches|in|")\s*"""
    r"""(?:in a|in|per|to the|a|/)\s*(?:foot|ft|')\s*""",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class FallField(NumberField):
    """A share that may be written as inches in a foot, as crews say it: "1/4 in per foot"."""

    def _number(self, text: str) -> float | None:
        found = _INCHES_A_FOOT.fullmatch(text)
        if found is None:
            return super()._number(text)
        inches_in_a_foot = 12
        return int(found[1]) / int(found[2] or 1) / inches_in_a_foot


@dataclass(frozen=True)
class FlagField(FieldParser):
    """Yes or no."""

    def parse(self, raw: object) -> bool | Finding:
        """Return true or false, or a finding."""
        if isinstance(raw, bool):
            return raw
        if isinstance(raw, str) and (word := other_names("flag").get(plain_name(raw))) is not None:
            return word == "true"
        return Finding(
            f"{quoted_text(raw)} is neither true nor false", expected="true or false", example="true"
        )

    def schema(self) -> Schema:
        """Return a boolean."""
        return {"type": "boolean"}


@dataclass(frozen=True)
class TextField(FieldParser):
    """Text for people. It is kept as written, with its markup; invisible characters are refused.

    Attributes:
        longest: The most characters.
        lines: Whether it may have several lines.
        example: A text.
        numbers: Whether a number without quotes is its figures, as that of a ticket.
    """

    longest: int = 80
    lines: bool = False
    example: str = "some words"
    numbers: bool = False

    def parse(self, raw: object) -> str | Finding:
        """Return the text without surrounding blanks, or a finding."""
        if self.numbers and isinstance(raw, int) and not isinstance(raw, bool):
            raw = str(raw)
        if not isinstance(raw, str):
            return self._fault(f"{quoted_text(raw)} is not text")
        text = raw.replace("\r\n", "\n").strip()
        if hidden := next((char for char in text if char not in "\n\t" and is_hidden(char)), None):
            return self._fault(
                f"{quoted_text(raw)} has the invisible character U+{ord(hidden):04X}; remove it"
            )
        if not self.lines and "\n" in text:
            return self._fault(f"{quoted_text(raw)} has several lines; write it on one")
        if len(text) > self.longest:
            return self._fault(f"{quoted_text(raw)} has {len(text)} characters")
        return text

    def schema(self) -> Schema:
        """Return text with its maximum length."""
        kind = ["string", "integer"] if self.numbers else "string"
        return {"type": kind, "maxLength": self.longest, "examples": [self.example]}

    def _fault(self, problem: str) -> Finding:
        where = "text" if self.lines else "text on one line"
        return Finding(
            problem, expected=f"{where}, at most {self.longest} characters", example=f'"{self.example}"'
        )


@dataclass(frozen=True)
class PatternField(TextField):
    """Text on one line that must match a pattern."""

    pattern: str = ""
    what: str = ""
    form: str = ""

    def parse(self, raw: object) -> str | Finding:
        """Return the text, or a finding that describes the pattern."""
        text = super().parse(raw)
        if isinstance(text, Finding) or re.fullmatch(self.pattern, text):
            return text
        example = self.suggest(text) or self.example
        return Finding(f"{quoted_text(raw)} is not {self.what}", expected=self.form, example=f'"{example}"')

    def suggest(self, _text: str) -> str | None:
        """Return what a text that does not match may mean; None where nobody can tell."""
        return None

    def schema(self) -> Schema:
        """Return text with its pattern."""
        return super().schema() | {"pattern": f"^(?:{self.pattern})$|^\\s*$"}


_KEYPAD = str.maketrans("ABCDEFGHIJKLMNOPQRSTUVWXYZ", "22233344455566677778889999")
"""The digits of a telephone's keys by their letters (ITU-T E.161, option A)."""


@dataclass(frozen=True)
class PhoneField(PatternField):
    """A telephone number; letters of its keys are asked about, with their digits."""

    def suggest(self, text: str) -> str | None:
        """Return the digits of a number that is written with the letters of the keys: "1-800-CONCRETE"."""
        digits = text.upper().translate(_KEYPAD)
        with_letters = re.fullmatch(r"[-+(). 0-9]*[0-9][-+(). 0-9A-Z]*", text.upper())
        return digits if with_letters and re.fullmatch(self.pattern, digits) else None


@dataclass(frozen=True)
class SlugField(PatternField):
    """A name that can be the name of a folder on any system."""

    longest: int = 80
    example: str = "2026-07-14-alder-garage"
    pattern: str = r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}"
    what: str = "a folder name that is valid on every system"
    form: str = "up to 80 letters, digits, points, hyphens and underscores, a letter or digit first"

    def parse(self, raw: object) -> str | Finding:
        """Return the name, or a finding."""
        text = super().parse(raw)
        if isinstance(text, Finding):
            plain = re.sub(r"[^a-z0-9]+", "-", plain_name(str(raw)[: self.longest])).strip("-")
            return replace(text, example=f'"{plain}"') if isinstance(raw, str) and plain else text
        if ".." in text or text.endswith("."):
            return Finding(
                f"{quoted_text(text)} has two points in a row, or one at its end",
                expected=self.form,
                example=f'"{self.example}"',
            )
        if re.fullmatch(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", text):
            return Finding(
                f"{quoted_text(text)} is the name of a device on Windows and cannot be a folder there",
                expected=self.form,
                example=f'"{self.example}"',
            )
        return text


@dataclass(frozen=True)
class ChoiceField(FieldParser):
    """One of a few options, in any case, or another usual name of one.

    Attributes:
        options: The options, in small letters.
        names: Key of the other names in ``other_names.toml``.
    """

    options: tuple[str, ...]
    names: str = ""

    def parse(self, raw: object) -> str | Finding:
        """Return the option, or a finding with the nearest one."""
        expected = "one of " + ", ".join(f'"{option}"' for option in self.options)
        if not isinstance(raw, str):
            return Finding(
                f"{quoted_text(raw)} is not text", expected=expected, example=f'"{self.options[0]}"'
            )
        word = " ".join(raw.split()).casefold()
        if word in self.options:
            return word
        if (option := other_names(self.names).get(plain_name(word))) is not None:
            return option
        likely = nearest_word(word, self.options) or self.options[0]
        return Finding(f"{quoted_text(raw)} is not known", expected=expected, example=f'"{likely}"')

    def schema(self) -> Schema:
        """Return the list of options."""
        return {"type": "string", "enum": [*self.options, ""]}


@dataclass(frozen=True)
class NameField(PatternField):
    """A code, or another usual name of one.

    Attributes:
        names: Key of the other names in ``other_names.toml``.
    """

    names: str = ""

    def parse(self, raw: object) -> str | Finding:
        """Return the code, or a finding."""
        code = other_names(self.names).get(plain_name(raw)) if isinstance(raw, str) else None
        return super().parse(raw) if code is None else code


@cache
def other_names(field: str) -> Mapping[str, str]:
    """Return the option that each other name of a field's options means, by the name in plain letters."""
    text = files("handover.jobs").joinpath("other_names.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text).get(field, {})
    return {plain_name(name): option for option, names in rows.items() for name in names}


def plain_name(word: str) -> str:
    """Return a name in small letters without accents or hyphens: "Cure & Seal" as "cure and seal"."""
    letters = unicodedata.normalize("NFKD", word.casefold().replace("&", " and "))
    return " ".join(
        re.sub(r"[^a-z0-9]+", " ", "".join(c for c in letters if not unicodedata.combining(c))).split()
    )


def nearest_word(word: str, choices: Iterable[str]) -> str | None:
    """Return the known word most like this one, or None if none is similar."""
    return next(iter(get_close_matches(word[:80].casefold(), list(choices), n=1, cutoff=0.6)), None)


@dataclass(frozen=True)
class MomentField(FieldParser):
    """A date with a time of day: local at the site, or with an explicit offset."""

    example: str = "2026-07-14T06:40:00"

    def parse(self, raw: object) -> datetime | Finding:
        """Return the time as written, or a finding; the zone of the site is not known yet."""
        fault = partial(Finding, expected="date and time at the site", example=self.example)
        if isinstance(raw, str):
            raw = _from_text(raw.strip())
        if isinstance(raw, date) and not isinstance(raw, datetime):
            return fault(f"{raw} has no time of day")
        if isinstance(raw, time):
            return fault(f"{raw} has no date")
        if not isinstance(raw, datetime):
            return fault(f"{quoted_text(raw)} is not a date with a time")
        return local_instant(raw, None)

    def schema(self) -> Schema:
        """Return text in ISO 8601, with or without seconds and offset."""
        return {
            "type": "string",
            "pattern": rf"^\s*{_DATE}[Tt ]{_CLOCK}\s*$|^\s*$",
            "examples": [self.example, f"{self.example}-04:00"],
        }


_DATE = "[0-9]{4}-[0-9]{2}-[0-9]{2}"
_CLOCK = r"[0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:[Zz]|[-+][0-9]{2}:[0-9]{2})?"


def is_iso_time(value: object) -> bool:
    """Return whether a text is a date, with or without a time, in the form that the record asks for."""
    return isinstance(value, str) and re.fullmatch(rf"\s*{_DATE}(?:[Tt ]{_CLOCK})?\s*", value) is not None


def _from_text(raw: str) -> datetime | date | str:
    """Return the instant or day of a text in ISO 8601, or the text itself if it has neither."""
    try:
        if re.fullmatch(rf"{_DATE}[Tt ]{_CLOCK}", raw):
            return datetime.fromisoformat(raw.upper())
        return date.fromisoformat(raw) if re.fullmatch(_DATE, raw) else raw
    except ValueError:  # the 31st of June
        return raw
