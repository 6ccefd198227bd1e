"""Names of cements: ASTM C150 types, EN 197 strength classes, and other names for them.

A cement of the Mexican standard has the rule of an ASTM type: R, of high early strength, that of type I, any
other class, or one that resists sulfates or has low heat, that of type II, the slowest.

Source:
    NMX-C-414-ONNCCE, table of the strength classes: 20 N/mm2 at 3 days for 30R and 30 for 40R, nothing for
    20, 30 and 40; table of the compositions, as summaries of the standard quote them. The type of each:
    common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.fields import FieldParser, Schema

if TYPE_CHECKING:
    from collections.abc import Mapping

_TYPES = ("I", "II", "III", "V")
_CLASSES = tuple(f"{strength} {speed}" for strength in ("32.5", "42.5", "52.5") for speed in "NR")
CEMENT_ALIASES: Mapping[str, tuple[str, str]] = {
    "I/II": ("II", "meets both types; II is the slower to gain strength"),
    "I-II": ("II", "meets both types; II is the slower to gain strength"),
    "IA": ("I", "type I with air-entraining agent interground"),
    "IIA": ("II", "type II with air-entraining agent interground"),
    "IIIA": ("III", "type III with air-entraining agent interground"),
    "IL": ("I", "portland-limestone cement is sold as a replacement of type I (common practice)"),
    "1L": ("I", "portland-limestone cement is sold as a replacement of type I (common practice)"),
    "GU": ("I", "general use cement of CSA A3001 (common practice)"),
    "GUL": ("I", "portland-limestone cement of CSA A3001 is sold as a replacement of GU (common practice)"),
    "HE": ("III", "high early strength cement of CSA A3001 (common practice)"),
    "GP": ("I", "general purpose cement of AS 3972 and NZS 3122 (common practice)"),
    "GL": (
        "I",
        "general purpose limestone cement of AS 3972 is sold as a replacement of GP (common practice)",
    ),
    "1": ("I", "type 1"),
    "2": ("II", "type 2"),
    "3": ("III", "type 3"),
    "5": ("V", "type 5"),
}

_MEXICAN = re.compile(
    r"(?P<kind>CP[OCSP]|CPEG|CEG)(?: ?(?P<strength>[234]0) ?(?P<early>R?)(?P<more>(?: ?(?:RS|BRA|BCH|B))*))?"
)
_MEXICAN_BLENDS = {
    "CPP": ("pozzolan", "fly_ash = 0.25"),
    "CPEG": ("slag", "slag = 0.35"),
    "CEG": ("slag", "slag = 0.70"),
}


def mexican_cement(text: str) -> tuple[str, str] | None:
    """Return the ASTM type for a cement of NMX-C-414 such as "CPC 30R", and why; None for any other text."""
    found = _MEXICAN.fullmatch(_mexican_words(text))
    if found is None or found["strength"] is None or found["kind"] in _MEXICAN_BLENDS:
        return None
    name = f"class {found['strength']}{found['early']} of NMX-C-414"
    if found["early"] and not re.search("RS|BCH", found["more"]):
        return "I", f"{name} has at 3 days what a type I has; a cautious rule for it (common practice)"
    return (
        "II",
        f"{name} has no strength to reach at 3 days or hardens slowly; the slowest rule (common practice)",
    )


def _mexican_words(text: str) -> str:
    words = " ".join(re.sub("[-/,]", " ", text.upper()).split())
    return re.sub(
        r"^(?:NMX C 414(?: ONNCCE)?(?: [0-9]{4})?[ ,]*)?(?:(?:TIPO|TYPE|CEMENTO|CEMENT) )*", "", words
    )


def canonical_cement(word: str) -> str | None:
    """Return the type or class that the name of a cement means, or None."""
    if word in _TYPES:
        return word
    if word in CEMENT_ALIASES:
        return CEMENT_ALIASES[word][0]
    european = re.fullmatch(r"(?:CEM (?:I|II/[AB]-\S+) )?([345]2)[.,]5 ?([NR])", word)
    return f"{european[1]}.5 {european[2]}" if european else None


@dataclass(frozen=True)
class CementName(FieldParser):
    """An ASTM C150 type or an EN 197 strength class."""

    def parse(self, raw: object) -> str | Finding:
        """Return "I", "II", "III", "V" or a class such as "42.5 N", or a finding with the known names."""
        fault = partial(
            Finding,
            expected=f"ASTM C150 type {', '.join(_TYPES)} or EN 197 class {', '.join(_CLASSES)}, "
            "or a cement of NMX-C-414 with its class",
            example='"I" or "42.5 N" or "CPC 30R"',
        )
        if not isinstance(raw, str):
            return fault(f"{quoted_text(raw)} is not text")
        words = " ".join(raw.upper().split())
        word = re.sub(
            r"^(?:(?:ASTM C ?(?:150|595)|AS ?3972|NZS ?3122)[ ,]*)?(?:TYPE|CSA|CEMENT)?\s*", "", words
        )
        word = re.sub(r"\s*(?:CEMENT|PORTLAND CEMENT)$", "", word)
        if known := canonical_cement(word) or next(iter(mexican_cement(raw) or ()), None):
            return known
        if found := _MEXICAN.fullmatch(_mexican_words(raw)):
            return self._mexican_fault(raw, found)
        if re.match(r"(IP|IS|IT|CEM (?:III|IV|V)/)", word):
            return fault(
                f"{quoted_text(raw)} is blended, and its name does not say how much slag or ash it has; "
                "write its base cement, and the shares as slag and fly_ash",
                example='"I", and below it slag = 0.35',
            )
        if word == "GB":
            return fault(
                f"{quoted_text(raw)} is general purpose blended cement of AS 3972, and its name does not "
                "say how much slag or ash it has; write its base cement, and the shares as slag and fly_ash",
                example='"GP", and below it fly_ash = 0.25',
            )
        return fault(f"{quoted_text(raw)} is not a known cement")

    def _mexican_fault(self, raw: str, found: re.Match[str]) -> Finding:
        """Return the finding about a cement of NMX-C-414 whose name does not say enough."""
        if found["kind"] not in _MEXICAN_BLENDS:
            return Finding(
                f"{quoted_text(raw)} is a cement of NMX-C-414 without its strength class",
                expected="its class too: 20, 30, 30R, 40 or 40R",
                example=f'"{found["kind"]} 30R"',
            )
        what, share = _MEXICAN_BLENDS[found["kind"]]
        base = "I" if found["early"] else "II"
        return Finding(
            f"{quoted_text(raw)} is a cement of NMX-C-414 with {what}, and its name does not say how much; "
            "write its base cement, and the share as slag or fly_ash",
            expected="the base cement here, and the share from the data sheet of the cement",
            example=f'"{base}", and below it {share}',
        )

    def schema(self) -> Schema:
        """Return the types and classes; the reader takes some other spellings too."""
        return {"type": "string", "examples": ["I", "II", "III", "V", "42.5 N"], "maxLength": 40}
