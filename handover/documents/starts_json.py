"""A comparison of start hours as JSON, for other programs."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from pydantic import TypeAdapter

from handover.schedule.json_types import ZONE
from handover.schedule.start_hours import StartComparison


def starts_json(comparison: StartComparison) -> bytes:
    """Return a comparison as JSON: UTF-8, keys in order, one top-level key on each line.

    Times have the offset of the site and are rounded to the second, numbers to six digits; SI units, as the
    model says. `order` has the indices of the starts, the best first.
    """
    document: dict[str, Any] = _adapter().dump_python(
        comparison, mode="json", context={ZONE: comparison.zone}
    )
    lines = (f"{_dumps(key)}: {_dumps(document[key])}" for key in sorted(document))
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


@cache
def _adapter() -> TypeAdapter[StartComparison]:
    return TypeAdapter(StartComparison)


def _dumps(value: Any) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, sort_keys=True)
