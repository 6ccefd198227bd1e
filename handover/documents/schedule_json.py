"""schedule.json: a whole `CureSchedule` for other programs and later years, and its JSON Schema.

pydantic writes, reads and describes it from the types of `handover.schedule.model`.
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from pydantic_core import from_json

from handover.documents.model_json import document_bytes, model_document, model_schema
from handover.schedule.json_types import ZONE
from handover.schedule.model import CureSchedule

LEFT_OUT_IF_EMPTY = {"weather": ("WeatherBasis", ("spread", "alerts"))}
"""By top-level key: its type, and those of its fields that are written only where there is something."""


def schedule_json(schedule: CureSchedule) -> bytes:
    """Return a schedule as JSON: UTF-8, keys in order, one top-level key on each line.

    Args:
        schedule: The schedule; SI units, as its model says.

    Returns:
        Bytes that satisfy `schedule_schema`; see `LEFT_OUT_IF_EMPTY`.
        Times have the offset of the site and are rounded to the second;
        numbers are rounded to six digits; unknown values (NaN, None) are null.

    Raises:
        ValueError: a time without a zone.
    """
    document = model_document(_adapter(), schedule, ZoneInfo(schedule.timezone))
    for key, (_, optional) in LEFT_OUT_IF_EMPTY.items():
        document[key] = {
            name: value for name, value in document[key].items() if value or name not in optional
        }
    return document_bytes(document)


@lru_cache(maxsize=8)
def read_schedule(content: bytes) -> CureSchedule:
    """Return the schedule in a schedule.json, with its numbers as rounded there.

    A field that an earlier version did not write has its default; a field of a later version is ignored. The
    last ones are kept: to archive, join or issue a set again reads its schedule several times.

    Raises:
        ValueError: It is not a schedule.
    """
    try:
        zone = ZoneInfo(from_json(content)["timezone"])
        return _adapter().validate_json(content, strict=True, context={ZONE: zone})
    except (TypeError, LookupError, ValueError, OverflowError, RecursionError) as fault:
        raise ValueError(f"is not a schedule of this program: {fault}") from None


def schedule_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of schedule.json: every field with its meaning and unit."""
    schema = model_schema(_adapter(), "Cure schedule of one slab on ground")
    for name, optional in LEFT_OUT_IF_EMPTY.values():
        described = schema["$defs"][name]
        described["required"] = [each for each in described["required"] if each not in optional]
    return schema


@cache
def _adapter() -> TypeAdapter[CureSchedule]:
    return TypeAdapter(CureSchedule)
