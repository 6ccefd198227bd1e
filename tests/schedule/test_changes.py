"""What changed from one issue to the next: which dates moved, by how much at least, and what moved them.

The amounts under which a watering has not moved are common practice, no source: half an hour in the first two
days, in which hours are told, and half a day later. Of dates every move is given, for whether it shows is a
matter of words.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import nan
from typing import TYPE_CHECKING, Any

import pytest

from handover.schedule.changes import changes
from handover.schedule.model import (
    REPEATED_FROST,
    Figure,
    Measurement,
    MilestoneKind,
    PrintedTime,
    Risk,
    Visit,
    WateringDay,
)
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from handover.schedule.model import Change, CureSchedule, Precision

Kind = MilestoneKind
HOUR = timedelta(hours=1)
JANUARY = PrintedTime(datetime(2027, 1, 1, 8, tzinfo=UTC), "half-month")
DECEMBER_7 = PrintedTime(datetime(2026, 12, 7, 8, tzinfo=UTC), "week")


@pytest.fixture(scope="module")
def planned() -> dict[str, CureSchedule]:
    """Keep a schedule for the module: each test bends a copy."""
    return {}


@pytest.fixture
def first(job: Any, weather: Any, planned: dict[str, CureSchedule]) -> CureSchedule:
    if not planned:
        at = job().placement.finished
        planned["first"] = plan_cure(job(), weather(), at, members=8)
    return planned["first"]


def moved(schedule: CureSchedule, kind: MilestoneKind, by: timedelta | None) -> CureSchedule:
    """Return a schedule with one date moved, or gone."""
    dates = tuple(
        replace(each, not_before=each.not_before + by if by and each.not_before else None, printed=None)
        if each.kind == kind
        else each
        for each in schedule.milestones
    )
    return replace(schedule, milestones=dates, revision=2)


def warmed(schedule: CureSchedule, by_k: float) -> CureSchedule:
    return replace(schedule, weather=replace(schedule.weather, air_c=schedule.weather.air_c + by_k))


def of(found: tuple[Change, ...], kind: str) -> Change:
    (change,) = (each for each in found if each.kind == kind)
    return change


def test_nothing_changes_where_nothing_moved(first: CureSchedule) -> None:
    assert changes(first, replace(first, revision=2)) == ()


@pytest.mark.parametrize("kind", [Kind.FIRST_WATER, Kind.HEAVY_VEHICLES])
@pytest.mark.parametrize("days", [1, -1, 7])
def test_a_date_whose_print_moved_is_given(first: CureSchedule, kind: MilestoneKind, days: int) -> None:
    found = changes(first, moved(first, kind, timedelta(days=days)))
    assert [each.kind for each in found] == [kind]


@pytest.mark.parametrize("kind", [Kind.FIRST_WATER, Kind.HEAVY_VEHICLES])
def test_a_minute_that_carries_a_date_over_no_half_hour_or_morning_is_none(
    first: CureSchedule, kind: MilestoneKind
) -> None:
    """Nobody reads it: the documents print the rounded date."""
    was = first.milestone(kind)
    assert was is not None
    assert was.printed is not None
    at_last = moved(first, kind, was.printed.instant - was.not_before)
    assert changes(first, at_last) == ()
    assert [each.kind for each in changes(first, moved(at_last, kind, timedelta(minutes=1)))] == [kind]


@pytest.mark.parametrize(("minutes", "expected"), [(29, False), (30, True)])
def test_a_watering_moves_by_the_amount_or_not_at_all(
    first: CureSchedule, minutes: int, expected: bool
) -> None:
    day = first.watering[1]
    by = timedelta(minutes=minutes)
    shifted = tuple(replace(each, start=each.start + by, end=each.end + by) for each in day.visits)
    days = tuple(replace(each, visits=shifted) if each is day else each for each in first.watering)
    found = changes(first, replace(first, watering=days, revision=2))
    assert [each.kind for each in found] == (["watering"] if expected else [])


def test_a_change_shows_before_and_after(first: CureSchedule) -> None:
    later = moved(first, Kind.FIRST_WATER, 2 * HOUR)
    change = of(changes(first, later), Kind.FIRST_WATER)
    was = first.milestone(Kind.FIRST_WATER)
    assert was is not None
    assert was.printed is not None
    assert change.before == (was.printed.instant,)
    assert change.after == (change.before[0] + 2 * HOUR,)
    assert change.precision == "half-hour"


def printed_as(schedule: CureSchedule, kind: MilestoneKind, printed: PrintedTime) -> CureSchedule:
    dates = (replace(each, printed=printed) if each.kind == kind else each for each in schedule.milestones)
    return replace(schedule, milestones=tuple(dates))


@pytest.mark.parametrize(("coarse", "fine"), [("week", "day"), ("half-month", "week")])
def test_each_time_of_a_change_is_that_which_its_issue_printed(
    first: CureSchedule, coarse: Precision, fine: Precision
) -> None:
    """A week where that was printed, and the day that the papers have now: no date that no paper has."""
    monday = datetime(2026, 11, 16, 8, tzinfo=UTC)
    thursday = monday + timedelta(days=24)
    kind = Kind.LIGHT_VEHICLES
    earlier = printed_as(first, kind, PrintedTime(monday, coarse))
    later = replace(printed_as(first, kind, PrintedTime(thursday, fine)), revision=2)
    change = of(changes(earlier, later), kind)
    assert (change.before, change.after) == ((monday,), (thursday,))
    assert (change.precision_before, change.precision) == (coarse, fine)
    back = of(changes(later, earlier), kind)
    assert (back.precision_before, back.precision) == (fine, coarse)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (PrintedTime(datetime(2026, 12, 21, 8, tzinfo=UTC), "week"), JANUARY),
        (PrintedTime(datetime(2026, 12, 1, 8, tzinfo=UTC), "day"), DECEMBER_7),
        (PrintedTime(datetime(2026, 12, 7, 8, tzinfo=UTC), "day"), DECEMBER_7),
    ],
)
def test_a_date_that_is_told_less_exactly_reads_differently(
    first: CureSchedule, one: PrintedTime, other: PrintedTime
) -> None:
    """Seen: "the week of December 21", then "January 2027", in no list; it rounds up to that."""
    kind = Kind.LIGHT_VEHICLES
    earlier, later = (printed_as(first, kind, each) for each in (one, other))
    for was, now, before, after in ((earlier, later, one, other), (later, earlier, other, one)):
        change = of(changes(was, replace(now, revision=2)), kind)
        assert (change.before, change.after) == ((before.instant,), (after.instant,))
        assert (change.precision_before, change.precision) == (before.precision, after.precision)
    assert changes(earlier, replace(earlier, revision=2)) == ()


def test_a_date_that_is_lost_or_found_has_changed(first: CureSchedule) -> None:
    lost = moved(first, Kind.HEAVY_VEHICLES, None)
    assert of(changes(first, lost), Kind.HEAVY_VEHICLES).after == ()
    assert of(changes(lost, first), Kind.HEAVY_VEHICLES).before == ()


def test_the_sets_are_not_printed(first: CureSchedule) -> None:
    assert changes(first, moved(first, Kind.FINAL_SET, 2 * HOUR)) == ()


def test_what_is_over_does_not_change_any_more(first: CureSchedule) -> None:
    later = moved(first, Kind.FIRST_WATER, 2 * HOUR)
    at = of(changes(first, later), Kind.FIRST_WATER).after[0]
    assert changes(first, replace(later, issued_at=at)) == ()
    assert changes(first, replace(later, issued_at=at - timedelta(minutes=1))) != ()


def test_newer_weather_is_a_cause(first: CureSchedule) -> None:
    """What of it moved the date is found from the inputs: see test_reasons."""
    later = warmed(moved(first, Kind.FIRST_WATER, 2 * HOUR), -3.0)
    assert of(changes(first, later), Kind.FIRST_WATER).because == ("forecast",)


@pytest.mark.parametrize(
    ("kind", "cause"),
    [
        ("ticket", "ticket"),
        ("field-cylinder", "cylinder"),
        ("standard-cylinder", "cylinder"),
        ("temperature-log", "log"),
        ("finishing", "surface"),
        ("scratch", "surface"),
        ("infrared", "surface"),
    ],
)
def test_a_new_measurement_is_a_cause_and_a_known_one_is_none(
    first: CureSchedule, kind: str, cause: str
) -> None:
    one = Measurement(kind, "no. 1", None, (Figure("strength", 12.3456789, "MPa"),), (), "noted")
    read_back = replace(one, measured=(Figure("strength", 12.3457, "MPa"),))
    later = replace(moved(first, Kind.FIRST_WATER, 2 * HOUR), measurements=(one,))
    assert of(changes(first, later), Kind.FIRST_WATER).because == (cause,)
    known = replace(first, measurements=(read_back,))
    assert of(changes(known, later), Kind.FIRST_WATER).because == ()


def test_a_record_that_says_otherwise_is_a_cause(first: CureSchedule) -> None:
    later = replace(moved(first, Kind.FIRST_WATER, 2 * HOUR), thickness_m=first.thickness_m * 1.2)
    assert of(changes(first, later), Kind.FIRST_WATER).because == ("record",)


def day_with(day: WateringDay, visits: tuple[Visit, ...], because: str | None) -> WateringDay:
    return replace(day, visits=visits, skipped_because=because)


def test_a_day_watered_by_rain_is_a_change_in_both_directions(first: CureSchedule) -> None:
    day = first.watering[2]
    rainy = replace(
        first, watering=tuple(day_with(day, (), "rain") if each is day else each for each in first.watering)
    )
    change = of(changes(first, rainy), "watering")
    assert change.before == tuple(each.start for each in day.visits) != ()
    assert (change.after, change.because) == ((), ("rain",))
    assert of(changes(rainy, first), "watering").because == ("no-rain",)


def test_an_end_of_curing_that_moved_explains_the_days_beyond_it(first: CureSchedule) -> None:
    later = moved(first, Kind.CURING_ENDS, -3 * 24 * HOUR)
    ends = later.milestone(Kind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    last: date = ends.not_before.date()
    short = replace(later, watering=tuple(each for each in later.watering if each.date < last))
    assert [each.kind for each in changes(first, short)] == [Kind.CURING_ENDS]


def test_frost_that_comes_or_goes_is_printed(first: CureSchedule) -> None:
    night = first.issued_at + 12 * HOUR
    frosty = replace(first, risks=(Risk("frost", night, night + 6 * HOUR, night + 3 * HOUR),))
    plain = replace(first, risks=())
    assert of(changes(plain, frosty), "frost").after == (night,)
    assert of(changes(frosty, plain), "frost").before == (night,)


def test_rain_on_the_fresh_slab_that_comes_or_goes_is_printed(first: CureSchedule) -> None:
    """The crew comes back for it, so that both of its readers have to know."""
    evening = first.issued_at + 3 * HOUR
    rainy = replace(first, risks=(Risk("rain-on-fresh", evening, evening + 5 * HOUR, evening + HOUR),))
    dry = replace(first, risks=())
    assert of(changes(dry, rainy), "rain-on-fresh").after == (evening,)
    assert of(changes(rainy, dry), "rain-on-fresh").before == (evening,)


def test_a_frost_that_begins_a_day_earlier_is_still_there(first: CureSchedule) -> None:
    """Spans are compared by their hours: a longer frost is not one frost gone and another one new."""
    night = first.issued_at + 36 * HOUR
    short = replace(first, risks=(Risk("frost", night, night + 6 * HOUR, night + 3 * HOUR),))
    long = replace(first, risks=(Risk("frost", night - 24 * HOUR, night + 24 * HOUR, night),))
    assert of(changes(short, long), "frost").after == (night - 24 * HOUR,)
    assert not [each for each in changes(short, long) if each.before and each.kind == "frost"]
    assert not [each for each in changes(long, short) if each.kind == "frost"]


def test_another_frost_on_the_same_day_does_not_free_the_day(first: CureSchedule) -> None:
    morning = first.issued_at.replace(hour=1) + 48 * HOUR
    evening = morning + 20 * HOUR
    one, other = (
        replace(first, risks=(Risk("frost", each, each + 2 * HOUR, each + HOUR),))
        for each in (morning, evening)
    )
    assert [(each.before, each.after) for each in changes(one, other)] == [((), (evening,))]


def test_curing_that_ends_early_for_frost_after_frost_says_so(first: CureSchedule) -> None:
    ends = first.milestone(Kind.CURING_ENDS)
    assert ends is not None
    early = moved(first, Kind.CURING_ENDS, -48 * HOUR)
    gate = replace(ends.because.governing, rule=REPEATED_FROST)
    milestones = tuple(
        replace(each, because=replace(each.because, governing=gate))
        if each.kind == Kind.CURING_ENDS
        else each
        for each in early.milestones
    )
    frosty = replace(early, milestones=milestones)
    assert of(changes(first, frosty), Kind.CURING_ENDS).because == ("repeated-frost",)
    assert of(changes(first, early), Kind.CURING_ENDS).because != ("repeated-frost",)


def test_changes_are_in_order_of_time(first: CureSchedule) -> None:
    later = moved(moved(first, Kind.HEAVY_VEHICLES, 48 * HOUR), Kind.FIRST_WATER, 2 * HOUR)
    assert [each.kind for each in changes(first, later)] == [Kind.FIRST_WATER, Kind.HEAVY_VEHICLES]


@pytest.mark.parametrize(("enough", "told"), [(0.7, True), (0.35, False), (0.2, False), (None, True)])
def test_a_blanket_that_has_to_keep_more_warmth_in_is_a_change(
    job: Any, weather: Any, enough: float | None, told: bool
) -> None:
    """Seen: the table asked for R-12 at the edges, the sheet before for R-6, and no list named it."""
    cold = plan_cure(job(), weather(-6.0, 4.0), job().placement.finished, members=8)
    assert cold.protection is not None
    before, after = (
        replace(cold, protection=replace(cold.protection, enough=each)) for each in (0.35, enough)
    )
    found = [each for each in changes(before, replace(after, revision=2)) if each.kind == "blanket"]
    assert len(found) == told
    if found:
        factor = cold.protection.edges
        figures = {each.name: each.value for each in found[0].figures}
        least = nan if enough is None else enough
        expected = {
            "blanket": least,
            "blanket_before": 0.35,
            "at_edges": least * factor,
            "at_edges_before": 0.35 * factor,
        }
        assert figures == pytest.approx(expected, nan_ok=True)


def test_a_blanket_that_is_off_for_good_is_no_change(job: Any, weather: Any) -> None:
    cold = plan_cure(job(), weather(-6.0, 4.0), job().placement.finished, members=8)
    assert cold.protection is not None
    late = replace(cold, issued_at=cold.issued_at + timedelta(days=60), revision=2)
    before, after = (
        replace(each, protection=replace(cold.protection, enough=enough))
        for each, enough in ((cold, 0.35), (late, 0.7))
    )
    assert not [each for each in changes(before, after) if each.kind == "blanket"]
