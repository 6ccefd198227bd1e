"""A comparison of start hours as JSON, for other programs, and its JSON Schema.

pydantic writes and describes it from the types of `handover.schedule.start_hours`.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import TypeAdapter

from handover.documents.model_json import document_bytes, model_document, model_schema
from handover.schedule.start_hours import StartComparison


def starts_json(comparison: StartComparison) -> bytes:
    """Return a comparison as JSON: UTF-8, keys in order, one top-level key on each line.

    Times have the offset of the site and are rounded to the second, numbers to six digits; SI units, as the
    model says. `order` has the indices of the starts, the best first.
    """
    return document_bytes(model_document(_adapter(), comparison, comparison.zone))


def starts_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a comparison: every field with its meaning and unit."""
    return model_schema(_adapter(), "Start hours of one slab on ground, compared")


@cache
def _adapter() -> TypeAdapter[StartComparison]:
    return TypeAdapter(StartComparison)
