"""The defaults for fields that a job record leaves out, as data with reason, source and mark."""

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
"""The method that uses a blanket."""


@dataclass(frozen=True)
class Default:
    """A value for a field that a record leaves out.

    Attributes:
        path: Path of the field: "slab.use".
        value: In ``unit``, an SI unit.
        unit: "1" for none.
        why: The reason, which is printed beside the value.
        source: Its source.
        mark: How sure we are of it.
        text: The printed text; "" for the value with its unit.
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
        """The value as printed: "334.6 kg/m3"."""
        if self.text:
            return self.text
        number = self.value if isinstance(self.value, str) else f"{self.value:.4g}"
        return number if self.unit == "1" else f"{number} {self.unit}"


@dataclass(frozen=True)
class DerivedDefault:
    """The reason of a default that is computed from the job itself.

    Attributes:
        why: The reason, which is printed beside the value.
        source: Its source.
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
    """Return the defaults for every record by the path of their field, in the order of the data."""
    rows = tomllib.loads(files("handover.practice").joinpath("defaults.toml").read_text(encoding="utf-8"))
    return {path: Default(path, **row) for path, row in rows.items()}


def method_defaults(method: str) -> Iterator[Default]:
    """Yield the defaults that depend on the curing method: the application rate, the blanket."""
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
    KeyError: There is none.
    """
    return defaults()[path].value
