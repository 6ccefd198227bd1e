"""The country of a site, by its ISO 3166 code: as recorded, or from the time zone.

Names, codes and the country of each time zone come from the IANA time zone database in `tzdata`, without a
network.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.fields import FieldParser, Schema, nearest_word

_OTHERWISE = {"UK": "GB", "USA": "US", "EL": "GR"}  # codes in use that are not those of ISO 3166


@dataclass(frozen=True)
class CountryCode(FieldParser):
    """A country by its two letters."""

    def parse(self, raw: object) -> str | Finding:
        """Return the code in capitals, or a finding with the code of the most likely country."""
        word = raw.strip().upper() if isinstance(raw, str) else ""
        code = _OTHERWISE.get(word, word)
        if code in countries():
            return code
        names = {name.casefold(): code for code, name in countries().items()}
        if (named := names.get(" ".join(word.casefold().split()))) is not None:
            return named
        meant = nearest_word(word, names)
        return Finding(
            f"{quoted_text(raw)} is not the code of a country",
            expected="two letters, such as US, GB or AU (a code of ISO 3166)",
            example=f'country = "{names[meant] if meant else "US"}"',
        )

    def schema(self) -> Schema:
        """Return text of two letters; the parser accepts some other spellings too."""
        return {"type": "string", "pattern": r"^\s*(?:[A-Za-z]{2,3}\s*)?$", "examples": ["US"]}


@cache
def countries() -> dict[str, str]:
    """Return the name of each country by its code."""
    return {row[0]: row[1] for row in _rows("iso3166.tab")}


@cache
def country_of_zone(name: str) -> str | None:
    """Return the code of the country of a time zone, or None for a zone of no country."""
    at = {row[2]: row[0] for row in _rows("zone.tab")}
    return at.get(name) or at.get(_links().get(name, ""))


def country_of_site(country: str | None, timezone: str | None) -> str | None:
    """Return the code of a site's country: as recorded, else by its time zone."""
    return country or (country_of_zone(timezone) if timezone else None)


@cache
def _links() -> dict[str, str]:
    """Return the current name of each older zone name: "US/Eastern" for "America/New_York"."""
    lines = _text("tzdata.zi").splitlines()
    return {link: zone for zone, link in (line[2:].split() for line in lines if line.startswith("L "))}


def _rows(table: str) -> list[list[str]]:
    return [line.split("\t") for line in _text(table).splitlines() if line and not line.startswith("#")]


def _text(name: str) -> str:
    return files("tzdata").joinpath("zoneinfo", name).read_text(encoding="utf-8")
