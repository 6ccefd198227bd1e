"""In which units a record is written: those of most of its measures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

from handover.jobs.fields import Quantity
from handover.jobs.written import tables
from handover.units import system_of

if TYPE_CHECKING:
    from collections.abc import Iterator


def units_of(raw: Mapping[str, Any]) -> Literal["us", "si"]:
    """Return "si" where more measures are written in SI units than in US units, else "us".

    Args:
        raw: A record that can be read, as TOML or JSON gives it.
    """
    systems = [system_of(text, kind.kind) for text, kind in _measures(raw)]
    return "si" if systems.count("si") > systems.count("us") else "us"


def _measures(raw: Mapping[str, Any]) -> Iterator[tuple[str, Quantity]]:
    for name, table in tables().items():
        found = raw.get(name)
        for each in found if isinstance(found, list | tuple) else [found]:
            if not isinstance(each, Mapping):
                continue
            for key, field in table.model_fields.items():
                kind = next((part for part in field.metadata if isinstance(part, Quantity)), None)
                text = each.get(key)
                if kind is not None and isinstance(text, str):
                    yield text, kind
