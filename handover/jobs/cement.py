"""Names of cements: ASTM C150 types, EN 197 strength classes, and other names for them."""

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
            expected=f"ASTM C150 type {', '.join(_TYPES)} or EN 197 class {', '.join(_CLASSES)}",
            example='"I" or "42.5 N"',
        )
        if not isinstance(raw, str):
            return fault(f"{quoted_text(raw)} is not text")
        words = " ".join(raw.upper().split())
        word = re.sub(
            r"^(?:(?:ASTM C ?(?:150|595)|AS ?3972|NZS ?3122)[ ,]*)?(?:TYPE|CSA|CEMENT)?\s*", "", words
        )
        word = re.sub(r"\s*(?:CEMENT|PORTLAND CEMENT)$", "", word)
        if (known := canonical_cement(word)) is not None:
            return known
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

    def schema(self) -> Schema:
        """Return the types and classes; the reader takes some other spellings too."""
        return {"type": "string", "examples": ["I", "II", "III", "V", "42.5 N"], "maxLength": 40}
