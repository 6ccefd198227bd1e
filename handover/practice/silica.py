"""Dust: the respirator required for sawing, by saw, place and hours."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import Field

from handover.practice.rules import Mark  # noqa: TC001 - part of the published shape of a schedule


@dataclass(frozen=True)
class Respirator:
    """The required respirator from a number of hours a day on; a protection factor of 0 means none."""

    saw: Annotated[Literal["hand-held", "walk-behind"], Field(description="Which saw.")]
    enclosed: Annotated[bool, Field(description="Indoors or under a roof.")]
    over_h: Annotated[float, Field(description="From so many hours of sawing a day on. [h]")]
    protection_factor: Annotated[float, Field(description="Of the respirator; 0: none is asked for. [1]")]
    source: Annotated[str, Field(description="Where it comes from.")]
    mark: Annotated[Mark, Field(description="How sure we are of a rule.")]


@cache
def respirators() -> tuple[Respirator, ...]:
    """Return every row of the table."""
    text = files("handover.practice").joinpath("silica.toml").read_text(encoding="utf-8")
    return tuple(Respirator(**row) for row in tomllib.loads(text)["task"])
