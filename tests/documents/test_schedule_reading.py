"""What schedule.json says of a schedule can be read back from it."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.schedule_json import read_schedule, schedule_json

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


def test_times_are_in_the_zone_of_the_site(schedule_with: Maker) -> None:
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
    with pytest.raises(ValueError, match="not a schedule"):
        read_schedule(content)


def test_a_value_of_another_kind_is_refused(schedule_with: Maker) -> None:
    with pytest.raises(ValueError, match="not a schedule"):
        read_schedule(without(schedule_json(schedule_with()), revision="two"))


@pytest.mark.parametrize(
    ("place", "wrong"),
    [
        (("issued_at",), "2026-10-31T16:00:00"),
        (("issued_at",), 1793462400),
        (("milestones", 0, "kind"), "strip-soffit"),
        (("area_m2",), "82"),
        (("watering", 0, "date"), "someday"),
        (("weather", "air_c", 0), "hot"),
        (("weather", "time"), "now"),
        (("weather", "time", 0), "2026-07-14T08:00:00"),
        (("history", "temperature_c"), []),
    ],
)
def test_a_part_that_is_none_is_refused(
    schedule_with: Maker, place: tuple[str | int, ...], wrong: object
) -> None:
    document = json.loads(schedule_json(schedule_with()))
    node: Any = document
    for step in place[:-1]:
        node = node[step]
    assert node[place[-1]] != wrong
    node[place[-1]] = wrong
    with pytest.raises(ValueError, match="not a schedule"):
        read_schedule(json.dumps(document).encode())


def test_what_is_not_known_stays_so(schedule_with: Maker) -> None:
    document = json.loads(schedule_json(schedule_with()))
    document["weather"]["precipitation_probability"][0] = None
    document["figures"] = [{"name": "peak", "value": None, "unit": "degC"}]
    again = read_schedule(json.dumps(document).encode())
    assert math.isnan(again.weather.precipitation_probability[0])
    assert math.isnan(again.figures[0].value)
