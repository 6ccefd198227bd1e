"""A frozen model as JSON, and its JSON Schema: pydantic writes and describes it by its types."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic.json_schema import GenerateJsonSchema
from pydantic_core import PydanticSerializationError

from handover.schedule.json_types import ZONE

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from pydantic import TypeAdapter
    from pydantic.json_schema import JsonSchemaValue
    from pydantic_core import core_schema

Model = TypeVar("Model")

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def model_document(adapter: TypeAdapter[Model], value: Model, zone: ZoneInfo) -> dict[str, Any]:
    """Return a value as a document of plain JSON types.

    Args:
        adapter: Of the type of the value.
        value: The value; SI units, as its model says.
        zone: Of the site, whose offset all times have.

    Raises:
        ValueError: a time without a zone.
    """
    try:
        document: dict[str, Any] = adapter.dump_python(value, mode="json", context={ZONE: zone})
    except PydanticSerializationError as fault:
        raise ValueError(str(fault)) from None
    return document


def document_bytes(document: dict[str, Any]) -> bytes:
    """Return a document as JSON: UTF-8, keys in order, one top-level key on each line."""
    lines = (f"{_dumps(key)}: {_dumps(document[key])}" for key in sorted(document))
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


def model_schema(adapter: TypeAdapter[Any], title: str) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of such a document: every field with its meaning and unit."""
    schema = adapter.json_schema(schema_generator=_SerializedSchema)
    for named in schema["$defs"].values():
        named.pop("title", None)  # it repeats the name
    return {"$schema": DIALECT, "title": title, **schema}


def _dumps(value: Any) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, sort_keys=True)


class _SerializedSchema(GenerateJsonSchema):
    """The JSON Schema of the written form: every field is required, and no other is allowed."""

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
