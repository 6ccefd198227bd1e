"""The clock at the site: zones, clock changes, offsets."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from handover.base.local_time import local_instant
from handover.errors import Finding
from handover.jobs.clock import find_zone, zone_at
from handover.jobs.reading import ExaminedRecord

Examine = Callable[..., ExaminedRecord]

# Places, and the zone the IANA data base keeps for them.
PLACES = [
    (36.10, -79.95, "America/New_York"),
    (42.03, -93.62, "America/Chicago"),
    (33.45, -112.07, "America/Phoenix"),
    (52.52, 13.40, "Europe/Berlin"),
    (-37.81, 144.96, "Australia/Melbourne"),
    (19.07, 72.88, "Asia/Kolkata"),
    (51.50, -0.12, "Europe/London"),
]


@pytest.mark.parametrize(("latitude", "longitude", "zone"), PLACES)
def test_the_zone_of_a_place(latitude: float, longitude: float, zone: str) -> None:
    assert zone_at(latitude, longitude) == zone


def test_at_sea_there_is_none() -> None:
    assert zone_at(30.0, -40.0) is None


def test_an_unknown_zone_is_reported_with_those_like_it() -> None:
    assert "America/Chicago" in find_zone("US/Chicagoo").example
    assert "America/New_York" in find_zone("new york").example
    assert "localtime" not in find_zone("localtime").example


NEW_YORK = find_zone("America/New_York")

# The clock in New York goes back on 1 November 2026 at 2:00 EDT and forward on 8 March 2026 at 2:00 EST
# (Energy Policy Act of 2005: second Sunday in March, first Sunday in November).


def test_a_time_that_comes_twice_is_reported_with_both_readings() -> None:
    finding = local_instant(datetime(2026, 11, 1, 1, 30), NEW_YORK)  # noqa: DTZ001
    assert "occurs twice" in finding.problem
    assert "2026-11-01T01:30:00-04:00" in finding.problem
    assert "2026-11-01T01:30:00-05:00" in finding.problem
    assert "offset" in finding.expected


@pytest.mark.parametrize(("offset", "utc_hour"), [(-4, 5), (-5, 6)])
def test_an_offset_says_which(examine: Examine, good: str, offset: int, utc_hour: int) -> None:
    text = good.replace("2026-07-14T06:10:00", f"2026-11-01T01:30:00-0{-offset}:00")
    start = examine(text.replace("2026-07-14T07:25:00", "2026-11-01T03:00:00")).record.placement.start
    assert start.astimezone(UTC) == datetime(2026, 11, 1, utc_hour, 30, tzinfo=UTC)
    assert start.utcoffset() == timedelta(hours=offset)
    assert (start.hour, start.minute) == (1, 30)


def test_a_time_that_never_was_is_reported_with_its_neighbours() -> None:
    finding = local_instant(datetime(2026, 3, 8, 2, 30), NEW_YORK)  # noqa: DTZ001
    assert "does not exist" in finding.problem
    assert "2026-03-08T01:30:00-05:00 or 2026-03-08T03:30:00-04:00" in finding.problem


@pytest.mark.parametrize(("hour", "minute"), [(0, 59), (2, 0)])
def test_around_the_change_times_are_plain(hour: int, minute: int) -> None:
    assert isinstance(local_instant(datetime(2026, 11, 1, hour, minute), NEW_YORK), datetime)  # noqa: DTZ001


@pytest.mark.parametrize("minute", [0, 30, 59])
def test_the_whole_hour_comes_twice(minute: int) -> None:
    assert isinstance(local_instant(datetime(2026, 11, 1, 1, minute), NEW_YORK), Finding)  # noqa: DTZ001


def test_the_fault_is_at_its_field(examine: Examine, good: str) -> None:
    examined = examine(good.replace("2026-07-14T07:25:00", "2026-03-08T02:30:00"))
    assert examined.record is None
    assert "does not exist" in next(
        each.problem for each in examined.findings if each.field == "placement.end"
    )


def test_hours_are_counted_across_the_change(examine: Examine, good: str) -> None:
    # 22:00 to 12:30 on the wall is 14.50 h, but 13.5 h pass when the clock goes forward: within 14 h.
    text = good.replace("2026-07-14T06:10:00", "2026-03-07T22:00:00")
    assert examine(text.replace("2026-07-14T07:25:00", "2026-03-08T12:30:00")).record
    # Backward: 13.5 h on the wall are 14.50 h.
    text = good.replace("2026-07-14T06:10:00", "2026-10-31T22:00:00")
    (finding,) = examine(text.replace("2026-07-14T07:25:00", "2026-11-01T11:30:00")).findings
    assert "14.50 h" in finding.problem


def test_utc_is_taken_as_meant(examine: Examine, good: str) -> None:
    text = good.replace("2026-07-14T06:10:00", "2026-07-14T10:10:00Z")
    examined = examine(text)
    assert examined.findings == ()
    assert examined.record.placement.start == examine(good).record.placement.start


def test_times_may_be_text(examine: Examine, good: str) -> None:
    text = good.replace("2026-07-14T06:10:00", '"2026-07-14 06:10"')
    assert examine(text).record == examine(good).record


@pytest.mark.parametrize(
    "zone", ["Asia/Kolkata", "Pacific/Kiritimati", "Pacific/Pago_Pago", "Australia/Lord_Howe"]
)
def test_zones_of_half_hours_and_of_the_date_line(examine: Examine, good: str, zone: str) -> None:
    text = good.replace("latitude = 36.10\nlongitude = -79.95\n", f'timezone = "{zone}"\n')
    start = examine(text).record.placement.start
    assert (start.day, start.hour, start.minute) == (14, 6, 10)
    assert start.tzinfo.key == zone
