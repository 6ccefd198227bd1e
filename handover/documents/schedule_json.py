"""schedule.json: the whole of a `CureSchedule` for other programs and later years, and its JSON Schema."""

from __future__ import annotations

import json
import math
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, timedelta
from functools import singledispatchmethod
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.schedule.model import CureSchedule

SIGNIFICANT_DIGITS = 6
"""More than any figure of the schedule is good for; few enough that another machine writes the same bytes."""


def schedule_json(schedule: CureSchedule) -> bytes:
    """Return a schedule as JSON: UTF-8, keys in order, one top-level key to a line.

    Args:
        schedule: The schedule; SI units, as its model says.

    Returns:
        Bytes that satisfy `schedule_schema`. Times carry the offset of the site and are rounded to the
        second; numbers are rounded to `SIGNIFICANT_DIGITS`; what is not known (NaN, None) is null.

    Raises:
        ValueError: a time without a zone.
    """
    document = _Plain(ZoneInfo(schedule.timezone)).of(schedule)
    lines = (f"{_dumps(key)}: {_dumps(document[key])}" for key in sorted(document))
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


def schedule_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of schedule.json: every field with its meaning and unit."""
    text = files(__package__).joinpath("schedule.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _dumps(value: Any) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, sort_keys=True)


def _rounded(value: float) -> float | None:
    """Return a number to so many digits (no negative zero), or None for what is not known."""
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}") + 0.0 if math.isfinite(value) else None


class _Plain:
    """Turns the values of the schedule's model into those that JSON knows, times in the zone of the site."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone

    @singledispatchmethod
    def of(self, value: Any) -> Any:
        if is_dataclass(value):
            return {each.name: self.of(getattr(value, each.name)) for each in fields(value)}
        if value is None or isinstance(value, (int, str)):
            return value
        raise TypeError(f"{type(value).__name__} has no place in schedule.json")

    @of.register
    def _(self, value: float) -> float | None:
        return _rounded(value)

    @of.register
    def _(self, value: datetime) -> str:
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        whole = (value.astimezone(UTC) + timedelta(seconds=0.5)).replace(microsecond=0)
        return whole.astimezone(self._zone).isoformat()

    @of.register
    def _(self, value: date) -> str:
        return value.isoformat()

    @of.register
    def _(self, value: tuple) -> list[Any]:  # type: ignore[type-arg] # dispatch wants the bare class
        return [self.of(each) for each in value]

    @of.register
    def _(self, value: np.ndarray) -> list[Any]:
        if value.dtype.kind == "M":
            return self._instants(value)
        if value.dtype.kind == "f":  # thousands of numbers: without the detour through the dispatch
            return [_rounded(each) for each in value.tolist()]
        return [self.of(each) for each in value.tolist()]

    def _instants(self, value: NDArray[np.datetime64]) -> list[str]:
        """Write UTC instants as times of the site."""
        return [self.of(each.replace(tzinfo=UTC)) for each in value.astype("datetime64[s]").tolist()]
