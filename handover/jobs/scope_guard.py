"""Refuses any slab that is not on ground: a wrong date can bring a structure down."""

from __future__ import annotations

import re
from dataclasses import dataclass

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.fields import ChoiceField, TextField


@dataclass(frozen=True)
class ScopeChoiceField(ChoiceField):
    """A choice that refuses words for anything but a slab on ground."""

    def parse(self, raw: object) -> str | Finding:
        """Return the option, a refusal, or a finding with the nearest option."""
        return find_off_ground_words(raw, _NOT_ON_GROUND) or super().parse(raw)


@dataclass(frozen=True)
class ScopeTextField(TextField):
    """Text that refuses words for a suspended or supported slab.

    Narrower than `ScopeChoiceField`: bars of a slab on ground may be dowelled into a wall or a footing.
    """

    def parse(self, raw: object) -> str | Finding:
        """Return the text, or a refusal."""
        return find_off_ground_words(raw, _SUSPENDED) or super().parse(raw)


_SUSPENDED = (
    r"suspended|elevated|cantilever\w*|balcony|balconies|shores?|shored|shoring|falsework|formwork|"
    r"(?:metal|steel|composite) deck\w*|roof slab|structural deck"
)
_NOT_ON_GROUND = (
    rf"{_SUSPENDED}|deck|decking|roof|roofs|stairs?|steps|staircase|landing|columns?|beams?|girders?|"
    r"walls?|footings?|piers?|piles?|soffits?|joists?|bridge|culvert|tank|"
    r"(?:second|third|upper) floor|scaffold\w*|props?|supports?|steel|timber|anchor bolts?"
)


def find_off_ground_words(raw: object, words: str) -> Finding | None:
    """Return a refusal where a text describes something other than a slab on ground.

    A pool deck is on the ground; its use is "patio".
    """
    if not isinstance(raw, str) or re.search(r"\bpool deck\b", raw, re.IGNORECASE):
        return None
    if not (word := re.search(rf"\b(?:{words})\b", raw[:400], re.IGNORECASE)):
        return None
    return Finding(
        f"{quoted_text(raw)} describes something other than a slab on ground "
        f"({quoted_text(word[0])}), and this program gives no dates for that: "
        "the engineer of record decides about stripping, shores and loads",
        expected="a slab that is on ground over its whole area",
        example='use = "garage floor", on = "gravel"',
    )
