"""What a new card takes from the jobs of the firm: what the last one said, and what the firm uses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

CARRIED = (
    *(f"contractor.{key}" for key in ("name", "phone", "email", "address", "license", "logo")),
    *(f"mix.{key}" for key in ("supplier", "specified_strength", "cement", "cementitious")),
    *(f"mix.{key}" for key in ("water_cementitious", "fly_ash", "slag", "air", "admixtures")),
    *(f"curing.{key}" for key in ("method", "application_rate", "timer", "available")),
    *(f"curing.{key}" for key in ("blanket_r_value", "colour", "seals")),
    *(f"slab.{key}" for key in ("on", "joints", "joint_spacing", "reinforcement", "finish")),
    "forms.edge",
)
"""The fields that are as they were at the last job, unless somebody says otherwise.

What differs from slab to slab and moves its dates is not among them: use, size, thickness, exposure, place.
"""

OFFERED = (
    "mix.supplier",
    "mix.specified_strength",
    "slab.use",
    "slab.thickness",
    "slab.exposure",
    "owner.name",
)
"""The fields with a list of what the firm has used, to choose from."""

MOST_OFFERED = 4
"""Texts that are offered for a field: as many buttons as fit beside one another on a phone."""


def carried_texts(last: Mapping[str, Any] | None) -> dict[str, str]:
    """Return the texts of a new card that the last job says, by field.

    Args:
        last: The tables of the record of the last job, as written; None for the first job of a firm.
    """
    return {name: text for name in CARRIED if (text := written_text(last or {}, name))}


def offered_texts(
    records: Iterable[Mapping[str, Any]], name: str, most: int = MOST_OFFERED
) -> tuple[str, ...]:
    """Return the texts that the firm has used in a field, each once, those of the last job first.

    Args:
        records: The tables of the records of the firm, the last job first.
        name: The field.
        most: Maximum number of texts.
    """
    found = (written_text(each, name) for each in records)
    return tuple(dict.fromkeys(filter(None, found)))[:most]


def written_text(tables: Mapping[str, Any], name: str) -> str:
    """Return the value of a field of a record as a card has it: lists with commas, yes, no; "" if missing."""
    table, _, key = name.partition(".")
    row = tables.get(table)
    value = row.get(key) if isinstance(row, Mapping) else None
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
