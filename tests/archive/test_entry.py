"""What the catalog knows of a job goes into a bag and comes back."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from handover.archive.entry import JobEntry, Task, entry_json, read_entry

if TYPE_CHECKING:
    from collections.abc import Callable

ODD_TEXT = "\0 \ud800 Zoë “Ω” \u2028 =1+1 <b>\n\t"


def test_an_entry_comes_back_as_it_was(entry: Callable[..., JobEntry], at: datetime) -> None:
    task = Task("saw-joints", at, at + timedelta(hours=9))
    made = entry(owner=ODD_TEXT, acknowledged=at, cylinder_low=True, tasks=(task,), more={"a": [1, None]})
    assert read_entry(entry_json(made)) == made


def test_the_same_entry_gives_the_same_bytes(entry: Callable[..., JobEntry]) -> None:
    assert entry_json(entry(more={"a": 1, "b": 2})) == entry_json(entry(more={"b": 2, "a": 1}))


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"version": 1}', '{"version": 2, "tasks": []}', '{"version": 1, "tasks": 4}']
)
def test_what_is_no_entry_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"entry|version|Expecting"):
        read_entry(text)


def test_a_time_without_a_zone_is_refused(entry: Callable[..., JobEntry]) -> None:
    with pytest.raises(ValueError, match="placed has no time zone"):
        entry(placed=datetime(2026, 7, 14, 6, 40))  # noqa: DTZ001 - that is the point
    with pytest.raises(ValueError, match="start has no time zone"):
        Task("saw-joints", datetime(2026, 7, 14, 6, 40))  # noqa: DTZ001 - that is the point


def test_a_task_does_not_end_before_it_starts(at: datetime) -> None:
    with pytest.raises(ValueError, match="ends before"):
        Task("saw-joints", at, at - timedelta(hours=1))
