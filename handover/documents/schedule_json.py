"""schedule.json: a whole `CureSchedule` for other programs and later years, and its JSON Schema.

pydantic writes, reads and describes it from the types of `handover.schedule.model`.
"""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema
from pydantic_core import PydanticSerializationError, from_json

from handover.schedule.json_types import ZONE
from handover.schedule.model import CureSchedule

if TYPE_CHECKING:
    from pydantic.json_schema import JsonSchemaValue
    from pydantic_core import core_schema

LEFT_OUT_IF_EMPTY = {"weather": ("WeatherBasis", ("spread", "alerts"))}
"""By top-level key: its type, and those of its fields that are written only where there is something."""

DIALECT = "https://json-schema.org/draft/2020-12/schema"


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
    context = {ZONE: ZoneInfo(schedule.timezone)}
    try:
        document = _adapter().dump_python(schedule, mode="json", context=context)
    except PydanticSerializationError as fault:
        raise ValueError(str(fault)) from None
    for key, (_, optional) in LEFT_OUT_IF_EMPTY.items():
        document[key] = {
            name: value for name, value in document[key].items() if value or name not in optional
        }
    lines = (f"{_dumps(key)}: {_dumps(document[key])}" for key in sorted(document))
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


def read_schedule(content: bytes) -> CureSchedule:
    """Return the schedule in a schedule.json, with its numbers as rounded there.

    A field that an earlier version did not write has its default; a field of a later version is ignored.

    Raises:
        ValueError: It is not a schedule.
    """
    try:
        zone = ZoneInfo(from_json(content)["timezone"])
        return _adapter().validate_json(content, strict=True, context={ZONE: zone})
    except (TypeError, LookupError, ValueError) as fault:
        raise ValueError(f"is not a schedule of this program: {fault}") from None


def schedule_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of schedule.json: every field with its meaning and unit."""
    schema = _adapter().json_schema(schema_generator=_SerializedSchema)
    for named in schema["$defs"].values():
        named.pop("title", None)  # it repeats the name
    for name, optional in LEFT_OUT_IF_EMPTY.values():
        described = schema["$defs"][name]
        described["required"] = [each for each in described["required"] if each not in optional]
    return {"$schema": DIALECT, "title": "Cure schedule of one slab on ground", **schema}


@cache
def _adapter() -> TypeAdapter[CureSchedule]:
    return TypeAdapter(CureSchedule)


def _dumps(value: Any) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, sort_keys=True)


class _SerializedSchema(GenerateJsonSchema):
    """The JSON Schema of the written form: every field is required, and no other is allowed.

    `schedule_schema` then takes the optional ones from those that are required.
    """

    def field_is_required(self, *_: Any, **__: Any) -> bool:
        return True

    def field_title_should_be_set(self, *_: Any) -> bool:
        return False

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def dataclass_schema(self, schema: core_schema.DataclassSchema) -> JsonSchemaValue:
        described = super().dataclass_schema(schema)
        described.pop("title", None)
        described["additionalProperties"] = False
        described["description"] = " ".join(described["description"].split())
        return described
