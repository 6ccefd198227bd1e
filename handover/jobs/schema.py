"""The JSON Schema of the record as it is written."""

from __future__ import annotations

from typing import Any

from handover.jobs.record import JobRecord, draft_of, required_fields, tables

_SIZE = {"anyOf": [{"required": ["area"]}, {"required": ["length", "width"]}]}
_PLACE = {"anyOf": [{"required": ["timezone"]}, {"required": ["latitude", "longitude"]}]}


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a job record as written: text with units, local times.

    It checks less than the reader, which also has the limits of quantities and the checks between fields. It
    is the form that a program writes: the reader accepts more of what people write, such as options in any
    case and by other names, numbers with a comma, dates in figures and times of day.
    """
    schema: dict[str, Any] = draft_of(JobRecord).model_json_schema()
    parts = {table.__name__: table for table in tables().values()}
    for name, part in schema["$defs"].items():
        _simplify(part, required_fields(parts[name]))
    schema["$defs"]["Slab"] |= _SIZE
    schema["$defs"]["Site"] |= _PLACE
    _simplify(schema, required_fields(JobRecord))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema | {"title": "Job record"}


def _simplify(part: dict[str, Any], must: tuple[str, ...]) -> None:
    """Remove what only says that a key is optional, and list the required keys."""
    for key, field in part["properties"].items():
        if options := field.pop("anyOf", None):
            field.update(next(option for option in options if option.get("type") != "null"))
        field.pop("default", None)
        field.pop("title", None)
        if key in must:
            field["$comment"] = " ".join(filter(None, (field.get("$comment"), "Required.")))
    if must:
        part["required"] = list(must)
