"""The units of a record: those of most of its quantities."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

from handover.base.number_text import plain_spellings
from handover.jobs.fields import QuantityField
from handover.jobs.record import fields_of, mark_of, tables
from handover.units import system_of

if TYPE_CHECKING:
    from collections.abc import Iterator


def unit_system(raw: Mapping[str, Any]) -> Literal["us", "si"]:
    """Return "si" where more quantities are written in SI units than in US units, else "us".

    Args:
        raw: The tables of the TOML or JSON file of a readable record.
    """
    systems = [system_of(plain_spellings(text)[-1], quantity.kind) for text, quantity in _quantities(raw)]
    return "si" if systems.count("si") > systems.count("us") else "us"


def _quantities(raw: Mapping[str, Any]) -> Iterator[tuple[str, QuantityField]]:
    for name, table in tables().items():
        found = raw.get(name)
        for row in found if isinstance(found, list | tuple) else [found]:
            if not isinstance(row, Mapping):
                continue
            for key, field in fields_of(table).items():
                quantity, text = mark_of(field, QuantityField), row.get(key)
                if quantity is not None and isinstance(text, str):
                    yield text, quantity
