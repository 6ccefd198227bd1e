"""The surface between the last pass and the first water: when it needs the crew, and what the crew may do.

By principles: wind and heat shorten the bare time, nobody steps on a slab before final set, compound follows
finishing at once, water replaces no more than what dries. The limit of the loss is that of the rule.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.practice.rules import practice
from handover.schedule import surface_task
from handover.schedule.cover_times import frost_covers, leave_out_looks_under_covers, ways_left
from handover.schedule.loading import materials_to_load
from handover.schedule.model import CureSchedule, MilestoneKind, Risk, SurfaceTask
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate
from handover.schedule.tasks import IN_DOUBT, RAIN_COVER, RAIN_COVER_OFF, SURFACE, with_tasks

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind


def task_of(schedule: CureSchedule) -> SurfaceTask:
    assert schedule.surface is not None
    return schedule.surface


def first_visit(schedule: CureSchedule) -> datetime:
    return next(visit.start for day in schedule.watering for visit in day.visits)


def not_before(schedule: CureSchedule, kind: MilestoneKind) -> datetime:
    found = schedule.milestone(kind)
    assert found is not None
    assert found.not_before is not None
    return found.not_before


@pytest.fixture
def hot(job: Job, weather: Weather, as_of: datetime) -> Callable[..., CureSchedule]:
    """A hot and windy day: it loses more than the precaution limit, so an hour of it is too long."""

    def plan(**tables: dict[str, Any]) -> CureSchedule:
        series = weather(27.0, 38.0)
        windy = weather(27.0, 38.0, wind_ms=series.wind_ms + 4.0, relative_humidity=series.wind_ms * 0 + 0.2)
        return plan_cure(job(**tables), windy, as_of)

    return plan


@pytest.fixture
def calm(weather: Weather) -> WeatherSeries:
    """Foggy, cool and still: it loses less than what water from the pores replaces."""
    series = weather(14.0, 16.0)
    return weather(
        14.0,
        16.0,
        wind_ms=series.wind_ms * 0.0,
        relative_humidity=series.wind_ms * 0.0 + 1.0,
        shortwave_wm2=series.shortwave_wm2 * 0.0,
        cloud=series.cloud * 0.0 + 1.0,
    )


def test_a_hot_windy_day_gives_the_crew_one_task_until_first_water(hot: Callable[..., CureSchedule]) -> None:
    schedule = hot()
    task = task_of(schedule)
    assert task.work == "damp"
    assert task.start == schedule.finished
    assert task.until == first_visit(schedule)
    assert task.not_after is not None
    assert task.start <= task.not_after <= task.start + timedelta(hours=1)


def test_the_bare_time_is_no_longer_than_the_limit_takes_at_the_drying_it_has(
    hot: Callable[..., CureSchedule],
) -> None:
    figures = {each.name: each.value for each in task_of(hot()).figures}
    assert figures["limit"] == practice()["drying.precaution"] * practice()["surface.bare-time"]
    assert figures["bare_loss"] > figures["limit"]


def test_a_calm_cool_day_asks_for_nothing(job: Job, calm: WeatherSeries, as_of: datetime) -> None:
    schedule = plan_cure(job(placement={"finished": as_of}), calm, as_of)
    assert schedule.surface is None


def test_a_window_of_first_water_is_open(job: Job, weather: Weather, as_of: datetime) -> None:
    """On a dull, damp day with somebody always there the first visit lies in it; the crew has no task."""
    series = weather(14.0, 18.0)
    none = series.wind_ms * 0.0
    dull = weather(
        14.0,
        18.0,
        relative_humidity=none + 0.78,
        wind_ms=none + 1.0,
        shortwave_wm2=none,
        cloud=none + 1.0,
    )
    curing = {"timer": True, "available": ("00:00-24:00",)}
    tables = {"placement": {"finished": as_of + timedelta(hours=4)}, "curing": curing}
    schedule = plan_cure(job(**tables), dull, as_of, members=40)
    water = schedule.milestone(Kind.FIRST_WATER)
    assert schedule.surface is None
    assert water is not None
    assert water.not_before is not None
    assert water.not_after is not None
    assert water.not_before <= first_visit(schedule) <= water.not_after


def test_more_wind_never_lengthens_the_bare_time(job: Job, weather: Weather, as_of: datetime) -> None:
    ends = []
    for wind in (0.5, 2.0, 4.0, 8.0):
        series = weather(20.0, 30.0)
        schedule = plan_cure(job(), weather(20.0, 30.0, wind_ms=series.wind_ms * 0 + wind), as_of)
        task = schedule.surface
        ends.append(task.not_after if task else None)
    found = [each for each in ends if each is not None]
    assert found == sorted(found, reverse=True)
    assert ends[-1] is not None


def test_nobody_steps_on_it_before_final_set(hot: Callable[..., CureSchedule]) -> None:
    """Common practice, no source."""
    for available in ((), ("17:00-21:00",), ("06:30-08:00",)):
        schedule = hot(curing={"available": available})
        task = task_of(schedule)
        if task.cover_from is not None:
            assert task.cover_from >= not_before(schedule, Kind.FINAL_SET)
            assert task.cover_from < task.until


def test_where_nobody_is_there_the_cover_lies_until_somebody_is(hot: Callable[..., CureSchedule]) -> None:
    schedule = hot(curing={"available": ("06:30-08:00",)})
    task = task_of(schedule)
    assert task.cover_from is not None
    assert (task.until.hour, task.until.minute) == (6, 30)
    assert [each.how for each in task.choices] == ["sheet", "compound", "fog-cover"]  # nobody fogs all night
    assert all(each.until < task.until for each in task.choices)


def test_what_the_ways_cost(hot: Callable[..., CureSchedule]) -> None:
    """Compound is quick and dry; fogging takes the crew until it ends, and the water that dries."""
    task = task_of(hot(curing={"available": ("17:00-21:00",)}))
    ways = {each.how: each for each in task.choices}
    assert ways["compound"].litres == 0.0
    assert ways["compound"].crew_hours <= min(
        each.crew_hours for how, each in ways.items() if how != "compound"
    )
    for each in ways.values():
        assert timedelta(hours=each.crew_hours) == each.until - each.start
    if "fog" in ways:
        assert ways["fog"].litres > 0.0


def test_compound_goes_on_right_after_the_last_pass(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(curing={"method": "curing compound"}), weather(), as_of)
    task = task_of(schedule)
    assert (task.work, task.start) == ("compound", schedule.finished)
    assert task.until - task.start == timedelta(hours=practice()["visit.compound"])
    assert [each.how for each in task.choices] == ["compound"]


def test_blankets_have_their_own_plan(job: Job, weather: Weather, as_of: datetime) -> None:
    assert plan_cure(job(curing={"method": "insulating blanket"}), weather(2.0, 12.0), as_of).surface is None


def test_where_it_freezes_a_sheet_keeps_the_water_of_an_open_slab(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Blankets let water out, and water from a hose would freeze: the crew draws plastic under them."""
    frosty = plan_cure(job(), weather(-6.0, 4.0), as_of)
    assert frosty.watering[0].skipped_because == "frost"
    task, [cover] = task_of(frosty), frost_covers(frosty)
    [sheet] = task.choices
    assert sheet.how == "sheet-blankets"
    assert sheet.litres == 0.0
    assert task.start == sheet.start <= cover.start
    across = job(slab={"length": 30.0, "width": 3.6})  # boards from form to form reach over it
    narrow, wide = ({each.code for each in materials_to_load(frosty, one)} for one in (across, job()))
    assert {"plastic", "boards"} <= narrow
    assert {"plastic", "vented-heat"} <= wide
    assert "boards" not in wide
    marked = plan_cure(job(slab={"coloured": True}), weather(-6.0, 4.0), as_of)
    assert marked.surface is None or "sheet" not in marked.surface.choices[0].how


@pytest.mark.parametrize("hours", [1.0, 3.0, 5.0, 6.0])
def test_compound_dries_before_rain_or_waits_for_its_end(
    job: Job, weather: Weather, as_of: datetime, hours: float
) -> None:
    """UFGS 03301A: what rain hits within 3 h after spraying is sprayed again."""
    finished = as_of + timedelta(hours=0.5)
    falls = finished.astimezone(UTC).replace(tzinfo=None) + timedelta(hours=hours)
    series = weather(14.0, 22.0)
    hour = int(np.searchsorted(series.time, np.datetime64(falls, "s")))
    rain = np.where(np.arange(len(series.time)) == hour, 3.0, 0.0)
    wet = weather(14.0, 22.0, precipitation_mm=rain, precipitation_probability=np.sign(rain))
    tables = {"placement": {"finished": finished}, "curing": {"method": "curing compound"}}
    schedule = plan_cure(job(**tables), wet, as_of)
    task, (falling,) = task_of(schedule), (each for each in schedule.risks if each.code == "rain-on-fresh")
    (way,) = task.choices
    dry = timedelta(hours=3)
    assert falling.start < falling.end
    assert way.until + dry <= falling.start or way.start >= falling.end
    assert (way.how == "compound-after-rain") == (way.start >= falling.end)
    if way.how == "compound":
        assert task.not_after is not None
        assert task.not_after + dry <= falling.start


@pytest.mark.parametrize("method", ["plastic sheet", "wet burlap"])
@pytest.mark.parametrize("air", [(-6.0, 4.0), (14.0, 18.0)], ids=["frost", "mild"])
def test_a_sheet_is_laid_on_the_day_of_the_pour_frost_or_not(
    job: Job, weather: Weather, as_of: datetime, method: str, air: tuple[float, float]
) -> None:
    """UFGS 03300A: moist curing begins at once after finishing; common practice: once no step marks it."""
    schedule = plan_cure(job(curing={"method": method}), weather(*air), as_of)
    task = task_of(schedule)
    assert task.work == "cover"
    assert task.cover_from is not None
    firm = not_before(schedule, Kind.FINAL_SET)
    assert firm <= task.cover_from <= firm + timedelta(hours=1)
    assert task.choices[0].until == task.until
    frosty = schedule.watering[0].skipped_because == "frost"
    assert frosty == (air[0] < 0.0)
    if frosty:
        assert task.choices[0].litres == 0.0  # no water that would freeze


@pytest.mark.parametrize("until_frost_h", [3, 0], ids=["frost later", "frost sooner"])
def test_blankets_go_on_with_the_sheet_where_frost_leaves_the_time(
    job: Job, weather: Weather, as_of: datetime, until_frost_h: int
) -> None:
    """One trip, common practice: nobody steps on the slab before the sheet, unless the frost comes sooner."""
    schedule = plan_cure(job(curing={"method": "wet burlap"}), weather(-6.0, 4.0), as_of)
    frost = next(each for each in schedule.risks if each.code == "frost")
    laid = task_of(schedule).start.replace(hour=22, minute=0) + timedelta(days=1)
    start = laid + timedelta(hours=until_frost_h)
    moved = replace(
        schedule,
        surface=replace(task_of(schedule), cover_from=laid),
        risks=(replace(frost, start=start, end=start + timedelta(hours=4)),),
        protection=None,
    )
    covered = frost_covers(moved)[0].start
    assert covered == laid if until_frost_h else covered < laid


@pytest.mark.parametrize("method", ["plastic sheet", "wet burlap"])
def test_a_frost_before_the_sheet_is_laid_has_its_cover(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    """The sheet lies from the morning on; the night before, the plan has no other cover on the slab."""
    schedule = plan_cure(job(curing={"method": method}), weather(-6.0, 4.0), as_of)
    frost = next(each for each in schedule.risks if each.code == "frost")
    laid = task_of(schedule).start.replace(hour=7, minute=0) + timedelta(days=1)
    bare, later = laid - timedelta(hours=5), laid + timedelta(hours=20)
    protection = schedule.protection
    assert protection is not None
    none, *blankets = protection.blankets
    moved = replace(
        schedule,
        surface=replace(task_of(schedule), cover_from=laid),
        risks=(replace(frost, start=later, end=later + timedelta(hours=4)),),
        protection=replace(protection, blankets=(replace(none, freezes_from=bare), *blankets)),
    )
    first = frost_covers(moved)[0]
    assert first.start <= bare
    assert first.frosts[0].start == bare
    assert first.covers_at(laid)


def test_under_a_sheet_that_lay_through_frost_the_first_visit_is_a_look(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """A sheet keeps the water of the slab in: after days under it, nobody wets it unseen."""
    cold, mild = weather(-6.0, 4.0).air_c, weather(8.0, 16.0).air_c
    air_c = np.where(np.arange(len(cold)) < 4 * 24, cold, mild)
    schedule = plan_cure(job(curing={"method": "plastic sheet"}), weather(air_c=air_c), as_of)
    assert schedule.watering[0].skipped_because == "frost"
    assert sum(len(day.visits) for day in schedule.watering) > 0
    assert sum(day.litres for day in schedule.watering) == 0.0


@pytest.mark.parametrize("kept", [30, 1], ids=["looks later", "no looks later"])
def test_the_date_of_the_first_look_is_that_of_a_look(
    job: Job, weather: Weather, as_of: datetime, kept: int
) -> None:
    """Nobody lifts an edge under a cover against frost: the first look is after it, or there is none."""
    evenings = {"method": "plastic sheet", "available": ("18:00-21:00",)}
    schedule = plan_cure(job(curing=evenings), weather(5.0, 12.0), as_of)
    assert not_before(schedule, Kind.PROTECTION_ENDS) < not_before(schedule, Kind.CURING_ENDS)
    begins = not_before(schedule, Kind.FIRST_WATER) - timedelta(hours=1)
    frost = Risk("frost", begins, begins + timedelta(days=1), begins)
    frosty = leave_out_looks_under_covers(
        replace(schedule, risks=(frost,), watering=schedule.watering[:kept])
    )
    looks = [visit.start for day in frosty.watering for visit in day.visits]
    date = frosty.milestone(Kind.FIRST_WATER)
    assert bool(looks) == (kept > 1)
    assert (None if date is None else date.not_before) == min(looks, default=None)
    assert date is None or (date.printed is not None and date.printed.instant == date.not_before)


def test_the_hose_is_laid_before_the_plastic_that_goes_over_it(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """The crew lays it as soon as a step leaves no mark, with the cover until the first water."""
    calm = weather(20.0, 32.0, wind_ms=weather().wind_ms * 0.0 + 1.5)
    curing = {"method": "soaker hose", "available": ("18:00-20:00",)}
    schedule = plan_cure(job(curing=curing), calm, as_of)
    task = task_of(schedule)
    assert task.choices[0].how == "fog-cover"
    [hose] = schedule.tasks_of("crew", "lay-hose")
    assert hose.start == task.cover_from
    assert hose.end <= task.choices[0].until


def test_measures_against_drying_are_for_before_the_last_pass(
    hot: Callable[..., CureSchedule], as_of: datetime
) -> None:
    """After it the surface is kept damp, covered or coated: nobody stands a windbreak up for that."""
    schedule = hot(placement={"finished": as_of.replace(hour=10, minute=30)})
    assert schedule.finished is not None
    measures = ("evaporation-retarder", "windbreak", "fog")
    found = [each for each in schedule.risks if each.code in measures]
    assert len({each.code for each in found}) > 1
    assert all(each.end <= schedule.finished for each in found)
    dries = [each.end for each in schedule.risks if each.code == "drying-precaution"]
    assert max(dries) > schedule.finished


# ---- the crew's clock


@pytest.mark.parametrize("hour", [9.5, 10.5, 11.5, 12.5, 13.5])
def test_no_set_is_printed_that_the_last_pass_contradicts(
    job: Job, weather: Weather, as_of: datetime, hour: float
) -> None:
    """The last pass lies between initial and final set; hours before the first set, none is printed."""
    finished = as_of.replace(hour=0) + timedelta(hours=hour)
    issued = max(as_of, finished)
    schedule = plan_cure(job(placement={"finished": finished}), weather(12.0, 22.0), issued)
    first = schedule.milestone(Kind.INITIAL_SET)
    refused = {each.kind: each.because for each in schedule.refusals}
    assert not_before(schedule, Kind.FINAL_SET) >= finished
    if first is None:
        assert refused[Kind.INITIAL_SET] == "set-contradicted"
    else:
        assert first.not_before is not None
        assert first.likely is not None
        assert first.likely <= first.not_before <= finished


def test_a_last_pass_hours_before_the_first_set_is_a_question(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Closed over bleed water, or a wrong hour: a slab at 10 degC does not set within an hour."""
    early = job()
    finished = early.placement.end + timedelta(hours=1)
    schedule = plan_cure(job(placement={"finished": finished}), weather(6.0, 12.0), as_of)
    (seen,) = (each for each in schedule.measurements if each.kind == "finishing")
    assert seen.outcome == "set-contradicted"
    assert schedule.milestone(Kind.INITIAL_SET) is None
    sets = {each.name: each.value for each in seen.estimated}
    assert 1.0 < sets["first_set_early"] <= sets["first_set"]


WAKING = surface_task.by_day(datetime(2026, 9, 11, 1, tzinfo=UTC)).hour


@pytest.mark.parametrize(
    ("dry_at", "frozen_at", "way"),
    [
        (None, None, "lay"),
        (8, None, "lay"),
        (3, None, "sheet-lay"),
        (None, 8, "lay"),
        (None, 4, "sheet-lay"),
    ],
    ids=["never", "dry after the morning", "dry before", "frozen after the morning", "frozen before"],
)
def test_nobody_lays_a_cover_at_night(
    job: Job, weather: Weather, as_of: datetime, dry_at: int | None, frozen_at: int | None, way: str
) -> None:
    """Common practice: what cannot lie on it in the evening is held clear of it until the morning."""
    night = datetime(2026, 9, 11, 1, tzinfo=UTC)
    start = night - timedelta(hours=5)
    bare = [None if each is None else night.replace(hour=each) for each in (dry_at, frozen_at)]
    simulation = simulate(job(curing={"method": "plastic sheet"}), weather(14.0, 18.0), as_of)
    choice = surface_task._laying(start, night, surface_task._Bare(*bare), simulation, ())
    assert choice.how == way
    assert choice.until - surface_task.COVERING == night.replace(hour=WAKING)
    assert choice.litres == 0.0
    assert choice.start == (start if way == "sheet-lay" else night.replace(hour=WAKING))


@pytest.mark.parametrize("dry_h", [None, 3, -2])
def test_nobody_lays_a_sheet_at_night_before_a_frost_either(
    job: Job, weather: Weather, as_of: datetime, dry_h: int | None
) -> None:
    """Common practice: before the crew leaves, it is held clear of the top, and laid flat in the morning."""
    plastic, cold = job(curing={"method": "plastic sheet"}), weather(-6.0, 4.0)
    frosty = plan_cure(plastic, cold, as_of).watering
    assert frosty[0].skipped_because == "frost"
    night = datetime(2026, 9, 11, 1, tzinfo=UTC)
    dries = None if dry_h is None else night + timedelta(hours=dry_h)
    bare = surface_task._Bare(dries, night + timedelta(hours=4))
    start = night - timedelta(hours=5)
    choice = surface_task._laying(start, night, bare, simulate(plastic, cold, as_of), frosty)
    assert choice.how == "sheet-lay"
    assert (choice.start, choice.until - surface_task.COVERING) == (start, night.replace(hour=WAKING))


def test_before_a_night_a_sheet_comes_before_fog(job: Job, weather: Weather, as_of: datetime) -> None:
    series = weather(20.0, 28.0)
    still = weather(20.0, 28.0, wind_ms=series.wind_ms * 0.0 + 1.0)
    simulation = simulate(job(), still, as_of)
    start, until = as_of, as_of + timedelta(hours=18)
    night = (as_of + timedelta(days=1)).replace(hour=1, minute=0)
    by_day = as_of + timedelta(hours=2)
    first = [next(surface_task._choices(start, each, until, simulation)).how for each in (by_day, night)]
    assert first == ["fog-cover", "sheet-overnight"]


def test_rain_that_begins_on_a_fresh_slab_is_named_until_it_ends(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """A cover stays on until the rain is over: 6 hours of 3 mm, the first on the fresh slab."""
    begins = as_of.astimezone(UTC).replace(minute=0, tzinfo=None) + timedelta(hours=7)
    series = weather(14.0, 22.0)
    first = int(np.searchsorted(series.time, np.datetime64(begins, "s")))
    rain = np.where((np.arange(len(series.time)) - first) // 6 == 0, 3.0, 0.0)
    wet = weather(14.0, 22.0, precipitation_mm=rain, precipitation_probability=np.sign(rain))
    (falling,) = (each for each in plan_cure(job(), wet, as_of).risks if each.code == "rain-on-fresh")
    assert falling.end - falling.start == timedelta(hours=6)
    assert {each.name: each.value for each in falling.figures} == {"rain": pytest.approx(18.0)}


@pytest.mark.parametrize("later_h", [3, 10, 17, 20])
def test_a_sheet_whose_hours_are_over_is_asked_for_once_the_crew_has_left(
    job: Job, hot: Callable[..., CureSchedule], as_of: datetime, later_h: int
) -> None:
    """Common practice, no source: the crew of the last pass is there until the evening, not after it."""
    record = job(curing={"available": ("06:30-08:00",)})
    first = hot(curing={"available": ("06:30-08:00",)})
    later = replace(first, issued_at=as_of + timedelta(hours=later_h), revision=2, tasks=())
    schedule = with_tasks(later, record)
    by_crew, by_owner = (schedule.tasks_of(each, SURFACE) for each in ("crew", "owner"))
    in_doubt = 8 < later_h < 18  # from the evening until the first water, at 6:30
    assert [each.how for each in by_crew] == ([IN_DOUBT] if in_doubt else [""] if later_h < 18 else [])
    assert len(by_owner) == in_doubt
    assert all(each.start == later.issued_at for each in by_owner)
    across = job(slab={"length": 30.0, "width": 3.6}, curing={"available": ("06:30-08:00",)})
    loaded = {each.code for each in materials_to_load(schedule, across)}
    assert ("boards" in loaded) == (later_h < 8)


@pytest.fixture
def rainy(job: Job, weather: Weather, as_of: datetime) -> Callable[..., CureSchedule]:
    """The hot and windy day, with likely rain from some hours after the issue on."""

    def plan(after_h: float, lasts_h: int, **tables: dict[str, Any]) -> CureSchedule:
        series = weather(27.0, 38.0)
        none = series.wind_ms * 0.0
        begins = as_of.astimezone(UTC).replace(minute=0, tzinfo=None) + timedelta(hours=after_h + 1)
        first = int(np.searchsorted(series.time, np.datetime64(begins, "s")))
        rain = np.where((np.arange(len(series.time)) - first) // lasts_h == 0, 3.0, 0.0)
        wet = weather(
            27.0,
            38.0,
            wind_ms=series.wind_ms + 4.0,
            relative_humidity=none + 0.2,
            precipitation_mm=rain,
            precipitation_probability=np.sign(rain),
        )
        return plan_cure(job(**tables), wet, as_of)

    return plan


def falling(schedule: CureSchedule) -> Risk:
    [rain] = (each for each in schedule.risks if each.code == "rain-on-fresh")
    return rain


@pytest.mark.parametrize("lasts_h", [2, 4])
@pytest.mark.parametrize("after_h", [1, 2])
def test_one_cover_keeps_off_rain_and_drying_until_the_first_water(
    rainy: Callable[..., CureSchedule], after_h: int, lasts_h: int
) -> None:
    """Common practice, no source: plastic lies through the rain; who waters first takes it off."""
    schedule = rainy(after_h, lasts_h)
    task, rain = task_of(schedule), falling(schedule)
    assert task.choices[0].how == "sheet-rain"
    assert not any("fog" in each.how for each in task.choices)
    assert task.until == first_visit(schedule) >= rain.end + timedelta(hours=1)
    assert schedule.tasks_of("crew", RAIN_COVER)
    assert not schedule.tasks_of("crew", RAIN_COVER_OFF)


@pytest.mark.parametrize("coloured", [False, True])
def test_nobody_waters_under_a_cover_against_rain(
    rainy: Callable[..., CureSchedule], *, coloured: bool
) -> None:
    """From an hour before the rain, when it is laid, to an hour after it is off; plastic lets no rain in."""
    schedule = rainy(3, 3, slab={"coloured": coloured})
    rain, hour = falling(schedule), timedelta(hours=1)
    for visit in (each for day in schedule.watering for each in day.visits):
        assert visit.end <= rain.start - hour or visit.start >= rain.end + hour
    assert schedule.watering[0].visits  # the rain did not do it


@pytest.mark.parametrize("after_h", [1, 2, 5])
def test_compound_in_place_of_water_is_no_way_where_rain_would_wash_it_off(
    rainy: Callable[..., CureSchedule], as_of: datetime, after_h: int
) -> None:
    """UFGS 03301A: rain within 3 h of spraying; an hour of spraying itself, common practice."""
    schedule = rainy(after_h, 2)
    sprayed = max(task_of(schedule).start, as_of)
    washes = falling(schedule).start < sprayed + timedelta(hours=4)
    assert washes == (after_h < 5)
    assert any("compound" in each.how for each in ways_left(schedule)) != washes


@pytest.mark.parametrize(("later_h", "is_left"), [(4.0, False), (4.5, True)])
def test_compound_that_is_sprayed_later_than_planned_dries_before_the_rain_too(
    hot: Callable[..., CureSchedule], later_h: float, *, is_left: bool
) -> None:
    """Half an hour of it is over: rain 4 h after the last pass no longer leaves it 3 h to dry."""
    task = task_of(hot())
    begins = task.start + timedelta(hours=later_h)
    rain = Risk("rain-on-fresh", begins, begins + timedelta(hours=2), begins)
    issued = task.start + timedelta(minutes=30)
    ways = ways_left(replace(hot(), risks=(rain,), issued_at=issued))
    assert any(each.how == "compound" for each in ways) == is_left
    assert ways
