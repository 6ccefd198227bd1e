"""The printed date: as exact as it is known, never early, and in the order of the uses."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.practice.rules import general_rules
from handover.schedule.model import Basis, Gate, Milestone, Reason
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.printed_times import (
    ORDERED_USES,
    USES,
    before_the_night,
    half_month_up,
    monday_up,
    print_dates,
)

ZONE = ZoneInfo("America/Chicago")
PLACED = datetime(2026, 8, 12, 13, 20, tzinfo=ZONE)
DAY = timedelta(days=1)


def date(kind: Kind, likely: float, not_before: float, basis: Basis = "typical", *others: Gate) -> Milestone:
    """Return a date by days after placement, with one condition that governs."""
    first, last = (PLACED + each * DAY for each in (likely, not_before))
    because = Reason(Gate("r", first, last, "", "computed"), others)
    return Milestone(kind, first, last, because, basis)


@pytest.mark.parametrize(
    ("likely", "not_before", "precision"),
    [(20.0, 24.0, "day"), (20.0, 28.0, "week"), (28.0, 50.0, "half-month"), (182.5, 182.5, "half-month")],
)
def test_a_use_is_printed_as_exactly_as_it_is_known(likely: float, not_before: float, precision: str) -> None:
    """Common practice, no source: a spread of a week is printed as a week, one of weeks as half a month."""
    [printed] = print_dates([date(Kind.HEAVY_VEHICLES, likely, not_before)], PLACED)
    assert printed.printed is not None
    assert printed.printed.precision == precision


def test_work_keeps_its_day() -> None:
    """Somebody waters until the end of curing, and lifts covers: that is a day, or its warmest hour."""
    work = {Kind.CURING_ENDS: "day", Kind.PROTECTION_ENDS: "half-hour", Kind.STRIP_EDGE_FORMS: "day"}
    for kind, precision in work.items():
        [printed] = print_dates([date(kind, 20.0, 50.0)], PLACED)
        assert printed.printed is not None
        assert printed.printed.precision == precision


@given(st.sampled_from(USES), st.floats(0.1, 400.0), st.floats(0.0, 120.0))
def test_a_printed_date_is_never_early_and_at_most_its_step_late(
    kind: Kind, likely: float, spread: float
) -> None:
    """The longest half of a month has 16 days, and one more may pass until the morning."""
    [printed] = print_dates([date(kind, likely, likely + spread)], PLACED)
    assert printed.printed is not None
    assert printed.not_before is not None
    late = printed.printed.instant.astimezone(UTC) - printed.not_before.astimezone(UTC)
    most = {"half-hour": DAY, "day": 2 * DAY, "week": 8 * DAY, "half-month": 17 * DAY}
    assert timedelta() <= late <= most[printed.printed.precision]


@given(st.lists(st.tuples(st.floats(1.0, 200.0), st.floats(0.0, 60.0)), min_size=4, max_size=4))
def test_no_use_is_printed_before_one_that_must_come_first(dates: list[tuple[float, float]]) -> None:
    ends = sorted(likely + spread for likely, spread in dates)
    spreads = [spread for _, spread in dates]
    drawn = [
        date(kind, end - spread, end) for kind, end, spread in zip(ORDERED_USES, ends, spreads, strict=True)
    ]
    printed = [each.printed.instant for each in print_dates(drawn, PLACED) if each.printed]
    assert printed == sorted(printed)


def test_weeks_begin_on_a_monday_and_halves_of_a_month_on_the_1st_and_the_16th() -> None:
    morning = datetime(2026, 8, 17, 8, tzinfo=ZONE)  # a Monday
    assert monday_up(morning) == morning
    assert monday_up(morning + timedelta(minutes=1)) == morning + 7 * DAY
    assert half_month_up(datetime(2027, 2, 11, 13, tzinfo=ZONE)) == datetime(2027, 2, 16, 8, tzinfo=ZONE)
    assert half_month_up(datetime(2027, 2, 16, 9, tzinfo=ZONE)) == datetime(2027, 3, 1, 8, tzinfo=ZONE)


def test_weather_moves_no_date_that_is_a_time_alone() -> None:
    """Six months on a house drive stay six months, whatever the weather; a week may not."""
    soon, late = (
        Gate("strength", PLACED + each * 0.8 * DAY, PLACED + each * DAY, "", "computed") for each in (15, 170)
    )
    months = PLACED + 182.5 * DAY
    for other, moves in ((soon, False), (late, True)):
        because = Reason(Gate("age", months, months, "", "computed"), (other,))
        fixed = Milestone(Kind.HEAVY_VEHICLES, months, months, because, "typical")
        [printed] = print_dates([fixed], PLACED)
        assert printed.printed is not None
        assert printed.printed.may_move is moves
    [estimated] = print_dates([date(Kind.LIGHT_VEHICLES, 8.0, 12.0)], PLACED)
    [forecast] = print_dates([date(Kind.LIGHT_VEHICLES, 8.0, 12.0, "forecast")], PLACED)
    assert [each.printed and each.printed.may_move for each in (estimated, forecast)] == [True, False]


def test_the_steps_grow_with_the_spread() -> None:
    rules = general_rules()
    assert timedelta() < rules.duration("print.week-from") < rules.duration("print.half-month-from")
    assert rules.duration("print.half-month-after") > rules.duration("print.half-month-from")


@pytest.mark.parametrize(
    ("first", "second"),
    [(Kind.FROST_SAFE, Kind.PROTECTION_ENDS), (Kind.FINAL_SET, Kind.FIRST_WATER)],
)
def test_what_waits_for_a_date_is_not_printed_before_it(first: Kind, second: Kind) -> None:
    """Seen: cold protection ends on Saturday at 2 pm, strong enough for a frost on Sunday."""
    met = 9.0 + 20.0 / 24.0  # at 9:20, past the days that are printed to the half hour
    one, other = print_dates([date(first, 8.0, met), date(second, 8.0, met + 4.0 / 24.0)], PLACED)
    assert one.printed is not None
    assert other.printed is not None
    assert one.not_before is not None
    assert one.not_before <= one.printed.instant <= other.printed.instant


@pytest.mark.parametrize(
    ("hour", "printed"), [(19.4, 19.5), (19.6, 31.0), (20.7, 31.0), (23.9, 31.0), (30.2, 31.0), (31.2, 31.5)]
)
def test_a_date_for_people_after_dark_is_told_for_the_morning(hour: float, printed: float) -> None:
    """Common practice, no source: from 8 in the evening, as rounded, to 7 in the morning."""
    days = (hour - 13.0 - 20.0 / 60.0) / 24.0
    for kind in (Kind.FOOT_TRAFFIC, Kind.STRIP_EDGE_FORMS, Kind.FROST_SAFE):
        [found] = print_dates([date(kind, days, days)], PLACED)
        assert found.printed is not None
        midnight = PLACED.replace(hour=0, minute=0)
        assert (found.printed.instant - midnight) / timedelta(hours=1) == printed


def test_sawing_does_not_wait_for_the_morning() -> None:
    [found] = print_dates([date(Kind.SAW_JOINTS, 0.4, 0.4)], PLACED)
    assert found.printed is not None
    assert found.printed.instant.date() == PLACED.date()


@pytest.mark.parametrize(
    ("hour", "finished", "begins"),
    [(18.0, 12.0, 18.0), (22.0, 12.0, 20.0), (25.0, 12.0, 20.0), (25.0, 22.5, 22.5), (32.0, 12.0, 32.0)],
)
def test_work_of_the_night_is_done_in_the_evening(hour: float, finished: float, begins: float) -> None:
    """Never later than it must be, nor before the slab is finished: the crew is there then."""
    midnight = PLACED.replace(hour=0, minute=0)
    found = before_the_night(midnight + timedelta(hours=hour), midnight + timedelta(hours=finished))
    assert (found - midnight) / timedelta(hours=1) == begins
