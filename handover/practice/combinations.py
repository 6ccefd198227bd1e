"""Combinations of fields of a record that are possible but seldom meant, as data: each becomes a question."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from handover.practice.rules import Mark

LEFT_OUT = ""
"""The option of a field that the record leaves out."""


@dataclass(frozen=True)
class Combination:
    """A combination, and the question about it.

    Attributes:
        field: Path of the field that the question is about: "curing.method".
        when: For each field the options, one of which it has; of a number, the least of it.
        problem: What is wrong with it, after the name of the field.
        expected: What would go together.
        example: The line to paste.
        source: Its source.
        mark: How sure we are of it.
    """

    field: str
    when: Mapping[str, Any]
    problem: str
    expected: str
    example: str
    source: str
    mark: Mark

    def matches(self, values: Mapping[str, Any]) -> bool:
        """Return whether the fields of a record are so combined; what it leaves out is None or missing."""
        return all(_fits(values.get(name), wanted) for name, wanted in self.when.items())


def _fits(value: Any, wanted: Any) -> bool:
    if isinstance(wanted, float):
        return value is not None and value >= wanted
    return (LEFT_OUT if value is None else value) in wanted


@cache
def combinations() -> tuple[Combination, ...]:
    """Return the combinations, in the order of the data."""
    text = files("handover.practice").joinpath("combinations.toml").read_text(encoding="utf-8")
    return tuple(Combination(**row) for row in tomllib.loads(text)["combination"])
