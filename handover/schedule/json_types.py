"""How the values of a schedule are written to schedule.json, read from it, and described in its schema.

pydantic makes all three from the types of `handover.schedule.model`. Times are written in the zone of the
site, which the context of a call names, to the second; numbers to `SIGNIFICANT_DIGITS`; NaN, which is not
known, as null.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from types import NoneType
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field, PlainSerializer, PlainValidator, WithJsonSchema

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from pydantic import SerializationInfo, ValidationInfo

SIGNIFICANT_DIGITS = 6
"""More than the accuracy of any figure; few enough that another machine writes the same bytes."""

ZONE = "zone"
"""Key of the context: the zone of the site, a `ZoneInfo`."""

_INSTANT = {
    "type": "string",
    "format": "date-time",
    "pattern": r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}[+-]\d{2}:\d{2}(:\d{2})?$",
}
_NUMBER_OR_NULL = {"type": ["number", "null"]}


def means(text: str, one_of: Sequence[str] = ()) -> Any:
    """Return the description of a field, for the reader of the model and of the schema.

    Args:
        text: A sentence; for a number, with its unit at the end.
        one_of: The codes that it may have, if its type does not list them.
    """
    return Field(description=text, json_schema_extra={"enum": [*one_of]} if one_of else None)


def _round(value: float) -> float | None:
    """Return a number rounded to `SIGNIFICANT_DIGITS` (no negative zero), or None if it is not known."""
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}") + 0.0 if math.isfinite(value) else None


def _nan_for_null(value: Any) -> Any:
    return math.nan if value is None else value


def _zone_of(info: SerializationInfo | ValidationInfo) -> ZoneInfo:
    context: dict[str, ZoneInfo] = info.context or {}
    return context[ZONE]


def _to_text(value: datetime, zone: ZoneInfo) -> str:
    if value.tzinfo is None:
        raise ValueError(f"{value} has no time zone")
    whole = (value.astimezone(UTC) + timedelta(seconds=0.5)).replace(microsecond=0)
    return whole.astimezone(zone).isoformat()


def _read(value: Any) -> datetime:
    if not isinstance(value, str):
        raise ValueError("is not text")  # noqa: TRY004 - pydantic collects errors of value
    instant = datetime.fromisoformat(value)
    if instant.tzinfo is None:
        raise ValueError("has no offset")
    return instant


def _instant(value: datetime, info: SerializationInfo) -> str:
    return _to_text(value, _zone_of(info))


def _read_instant(value: Any, info: ValidationInfo) -> datetime:
    return _read(value).astimezone(_zone_of(info))


def _floats(values: NDArray[np.float64]) -> list[float | None]:
    if not np.isfinite(values).all():
        return [_round(each) for each in values.tolist()]
    texts = (f"%.{SIGNIFICANT_DIGITS}g " * values.size) % tuple(values.tolist())
    return [float(each) + 0.0 for each in texts.split()]


def _read_floats(values: Any) -> NDArray[np.float64]:
    if not isinstance(values, list) or not {type(each) for each in values} <= {int, float, NoneType}:
        raise ValueError("is not a list of numbers")
    return np.asarray(values, dtype=np.float64)


def _instants(values: NDArray[np.datetime64], info: SerializationInfo) -> list[str]:
    """Write UTC instants as times of the site."""
    zone = _zone_of(info)
    return [_to_text(each.replace(tzinfo=UTC), zone) for each in values.astype("datetime64[s]").tolist()]


def _read_instants(values: Any) -> NDArray[np.datetime64]:
    if not isinstance(values, list):
        raise ValueError("is not a list of times")  # noqa: TRY004 - as above
    seconds = [_read(each).timestamp() for each in values]
    return np.asarray(seconds, dtype=np.int64).astype("datetime64[s]")


Instant = Annotated[
    datetime, PlainValidator(_read_instant), PlainSerializer(_instant), WithJsonSchema(_INSTANT)
]
_NULL = BeforeValidator(_nan_for_null)
_ROUND = PlainSerializer(_round)
Number = Annotated[float, _NULL, _ROUND]
"""Never unknown, according to the schema; an unknown value is still written as null."""
NumberOrNull = Annotated[Number, WithJsonSchema(_NUMBER_OR_NULL)]
NotNegative = Annotated[float, Field(ge=0), _NULL, _ROUND]
Positive = Annotated[float, Field(gt=0), _NULL, _ROUND]
Share = Annotated[float, Field(ge=0, le=1), _NULL, _ROUND]

Floats = Annotated[
    NDArray[np.float64],
    PlainValidator(_read_floats),
    PlainSerializer(_floats),
    WithJsonSchema({"type": "array", "items": _NUMBER_OR_NULL}),
]
Instants = Annotated[
    NDArray[np.datetime64],
    PlainValidator(_read_instants),
    PlainSerializer(_instants),
    WithJsonSchema({"type": "array", "items": _INSTANT}),
]
"""UTC, ``datetime64[s]``."""
