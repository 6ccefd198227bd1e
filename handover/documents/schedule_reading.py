"""schedule.json read back: what an earlier issue told, so that the next one can say what changed."""

from __future__ import annotations

import json
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

import numpy as np

from handover.schedule.model import CureSchedule

_INSTANTS = np.dtype("datetime64[s]")


def read_schedule(content: bytes) -> CureSchedule:
    """Return the schedule in a schedule.json, its numbers rounded as they were written.

    What an earlier version did not write yet has its default; what a later one wrote beside it is left out.

    Raises:
        ValueError: It is no schedule.
    """
    try:
        document = json.loads(content)
        schedule: CureSchedule = _Reader(ZoneInfo(document["timezone"])).object(CureSchedule, document)
    except (TypeError, LookupError, AttributeError, ValueError) as fault:
        raise ValueError(f"is no schedule of ours: {fault!r}") from None
    return schedule


class _Reader:
    """Turns the values of JSON into those of the schedule's model, times in the zone of the site."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone

    def object(self, shape: Any, document: dict[str, Any]) -> Any:
        """Return a dataclass of the model."""
        hints, wanted = _hints(shape), fields(shape)
        missing = [
            each.name
            for each in wanted
            if each.name not in document and each.default is MISSING and each.default_factory is MISSING
        ]
        if missing:
            raise ValueError(f"{shape.__name__} without {', '.join(missing)}")
        given = {
            each.name: self.value(hints[each.name], document[each.name])
            for each in wanted
            if each.name in document
        }
        return shape(**given)

    def value(self, hint: Any, value: Any) -> Any:
        """Return a value of the type that a field has."""
        origin = get_origin(hint)
        if origin in (Union, UnionType):
            return None if value is None else self.value(_only(hint), value)
        if origin is np.ndarray:
            return self._array(hint, value)
        if origin is tuple:
            return tuple(self.value(get_args(hint)[0], each) for each in value)
        if origin is Literal:
            return value
        if is_dataclass(hint):
            return self.object(hint, value)
        return self._plain(hint, value)

    def _plain(self, hint: Any, value: Any) -> Any:
        if hint is datetime:
            return datetime.fromisoformat(value).astimezone(self._zone)
        if hint is date:
            return date.fromisoformat(value)
        if hint is float:
            return np.nan if value is None else float(value)
        if isinstance(hint, type) and issubclass(hint, Enum):
            return hint(value)
        if not isinstance(value, hint):
            raise TypeError(f"{value!r} is no {hint.__name__}")
        return value

    def _array(self, hint: Any, values: list[Any]) -> Any:
        if np.datetime64 in get_args(get_args(hint)[1]):
            instants = [datetime.fromisoformat(each).timestamp() for each in values]
            return np.asarray(instants, dtype=np.int64).astype(_INSTANTS)
        return np.asarray(values, dtype=np.float64)


def _only(hint: Any) -> Any:
    """Return what an optional type is of."""
    (only,) = (each for each in get_args(hint) if each is not NoneType)
    return only


@cache
def _hints(shape: type) -> dict[str, Any]:
    return get_type_hints(shape)
