"""What is taken where a job record leaves a field out: data with reason, source and how sure we are."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.practice.rules import Mark


BLANKET = "insulating blanket"
"""The method that lays a blanket."""


@dataclass(frozen=True)
class Default:
    """A value for a field that a record leaves out.

    Attributes:
        path: Of the field: "slab.use".
        value: In ``unit``, which is of the SI.
        unit: "1" where there is none.
        why: Why this value: printed beside it.
        source: Where it comes from.
        mark: How sure we are of it.
        text: How it is printed; "" for the value with its unit.
    """

    path: str
    value: str | float | bool
    unit: str
    why: str
    source: str
    mark: Mark
    text: str = ""

    @property
    def printed_text(self) -> str:
        """The value as it is printed: "334.6 kg/m3"."""
        if self.text:
            return self.text
        number = self.value if isinstance(self.value, str) else f"{self.value:.4g}"
        return number if self.unit == "1" else f"{number} {self.unit}"


@dataclass(frozen=True)
class DerivedDefault:
    """Why a value that follows from the job itself is taken for a field that a record leaves out.

    Attributes:
        why: Printed beside the value.
        source: Where it comes from.
        mark: How sure we are of it.
    """

    why: str
    source: str
    mark: Mark


@cache
def derived_defaults() -> dict[str, DerivedDefault]:
    """Return the reasons of the defaults that the schedule computes, by the path of their field."""
    text = files("handover.practice").joinpath("derived_defaults.toml").read_text(encoding="utf-8")
    return {path: DerivedDefault(**row) for path, row in tomllib.loads(text).items()}


@cache
def defaults() -> dict[str, Default]:
    """Return the defaults that hold for every record by the path of their field, in the order of the data."""
    rows = tomllib.loads(files("handover.practice").joinpath("defaults.toml").read_text(encoding="utf-8"))
    return {path: Default(path, **row) for path, row in rows.items()}


def method_defaults(method: str) -> Iterator[Default]:
    """Yield the defaults that depend on how the slab is cured: the application rate, the blanket."""
    rules = general_rules()
    if (watering := rules.methods.get(method)) is not None:
        why = watering.rate_why
        yield Default("curing.application_rate", watering.rate_mm_h, "mm/h", why, why, watering.mark)
    cover = rules.materials["cover"]
    if method == BLANKET:
        why = cover["source"]
        yield Default("curing.blanket_r_value", cover[method], "m2K/W", why, why, cover["mark"])


def default_value(path: str) -> str | float | bool:
    """Return the default of a field.

    Raises:
        KeyError: Practice has none for it.
    """
    return defaults()[path].value
