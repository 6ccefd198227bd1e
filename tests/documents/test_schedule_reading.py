"""What schedule.json says of a schedule can be read back from it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.schedule_json import schedule_json
from handover.documents.schedule_reading import read_schedule

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.schedule.model import CureSchedule

    Maker = Callable[..., CureSchedule]


def without(content: bytes, *keys: str, **more: Any) -> bytes:
    document = json.loads(content)
    return json.dumps({key: value for key, value in document.items() if key not in keys} | more).encode()


def test_written_again_it_is_the_same(schedule_with: Maker) -> None:
    written = schedule_json(schedule_with())
    assert schedule_json(read_schedule(written)) == written


def test_times_stand_in_the_zone_of_the_site(schedule_with: Maker) -> None:
    schedule = schedule_with()
    again = read_schedule(schedule_json(schedule))
    assert str(again.placement_end.tzinfo) == schedule.timezone
    assert again.placement_end == schedule.placement_end
    assert again.weather.time.tolist() == schedule.weather.time.tolist()


def test_an_older_and_a_later_version_are_read(schedule_with: Maker) -> None:
    written = schedule_json(schedule_with())
    assert read_schedule(without(written, "changes", tomorrows_field=1)).changes == ()


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{}", b'{"timezone": "Nowhere/City"}', b'{"timezone": "America/New_York"}']
)
def test_what_is_no_schedule_is_refused(content: bytes) -> None:
    with pytest.raises(ValueError, match="no schedule"):
        read_schedule(content)


def test_a_value_of_another_kind_is_refused(schedule_with: Maker) -> None:
    with pytest.raises(ValueError, match="no schedule"):
        read_schedule(without(schedule_json(schedule_with()), revision="two"))
