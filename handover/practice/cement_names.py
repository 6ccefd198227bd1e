"""Names of cements on tickets and bags, and the cement of `cements.toml` by whose rule each goes."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True)
class CementAlias:
    """A name with one meaning.

    Attributes:
        rule: The cement whose rule it takes.
        why: What it is, and why that rule.
        mark: How sure we are.
    """

    rule: str
    why: str
    mark: str


@dataclass(frozen=True)
class BlendName:
    """A name that does not say how much slag or ash is in the cement.

    Attributes:
        what: The cement.
        line: What to write after ``cement =``, with the usual shares.
        mark: How sure we are.
    """

    what: str
    line: str
    mark: str


@cache
def cement_names() -> Mapping[str, CementAlias]:
    """Return the names with one meaning, by their spelling."""
    return {
        spelling: CementAlias(row["rule"], row["why"], row["mark"])
        for row in _rows()["name"]
        for spelling in row["spellings"]
    }


@cache
def blend_names() -> Mapping[str, BlendName]:
    """Return the names that leave the shares open, by their spelling."""
    return {
        spelling: BlendName(row["what"], row["line"], row["mark"])
        for row in _rows()["blend"]
        for spelling in row["spellings"]
    }


def _rows() -> Mapping[str, list[Mapping[str, str]]]:
    text = files("handover.practice").joinpath("cement_names.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
