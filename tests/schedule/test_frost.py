"""Cold weeks: what is protected, what is not watered, which cautions there are."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.cover_times import early_frosts, frost_covers
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate
from handover.schedule.tasks import BLANKETS_OFF, WALK_THROUGH, with_tasks

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

NOWHERE = {"latitude": None, "longitude": None}  # nothing tells that the cold of the forecast will end


def test_frost_before_the_slab_is_strong_enough_is_a_risk_and_a_caution(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    schedule = plan_cure(job(), weather(-6.0, 4.0), as_of)
    frost = [risk for risk in schedule.risks if risk.code == "frost"]
    assert frost
    safe, ends = (
        schedule.milestone(each) for each in (MilestoneKind.FROST_SAFE, MilestoneKind.PROTECTION_ENDS)
    )
    assert safe is not None
    assert safe.not_before is None or frost[0].start < safe.not_before
    assert ends is not None
    assert all(ends.not_before is None or risk.start < ends.not_before for risk in frost)
    cautions = {caution.code: caution for caution in schedule.cautions}
    assert {"frost", "cold-weather", "heaters"} <= set(cautions)
    figures = {figure.name: figure.value for figure in cautions["frost"].figures}
    assert figures["strength_then"] < figures["frost_safe_strength"] == 5.0


def test_no_frost_is_printed_in_july(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(), weather(), as_of)
    assert not {"frost", "cold-weather", "heaters"} & {caution.code for caution in schedule.cautions}


def test_nobody_waters_when_it_may_freeze_before_the_water_has_dried(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """UFGS and trade practice: no water curing when freezing is expected."""
    frost_first = weather(6.0, 14.0)
    frost_first.air_c[:48] -= 9.0
    schedule = plan_cure(job(), frost_first, as_of)
    whole = schedule.weather
    known = whole.time.astype("datetime64[s]").astype(float)
    assert any(day.visits for day in schedule.watering)  # once the frost is over
    for day in schedule.watering:
        for visit in day.visits:
            ahead = (known >= visit.start.timestamp()) & (known <= visit.end.timestamp() + 11 * 3600)
            assert whole.air_c[ahead].min() >= 0.0
    assert any(day.skipped_because == "frost" for day in schedule.watering)


def test_nobody_looks_under_a_sheet_while_blankets_lie_on_it(
    job: Job, lasting: Weather, as_of: datetime
) -> None:
    """Seen: edges lifted at night and the slab wetted, two days before the blankets came off."""
    covered = job(curing={"method": "plastic sheet"}, site=NOWHERE)
    cold = lasting(3.0, 11.0)
    cold.air_c[:54] -= 5.0  # two nights of frost, the last hour at 5 in the morning of the 16th
    schedule = plan_cure(covered, cold, as_of, members=8)
    covers = frost_covers(schedule)
    assert covers
    assert schedule.watering[0].skipped_because == "frost"
    visits = [visit for day in schedule.watering for visit in day.visits]
    assert visits  # later
    assert not any(cover.meets(visit) for cover in covers for visit in visits)
    assert not any(visit.litres for visit in visits)


@pytest.mark.all_members
def test_nobody_waters_at_the_end_of_the_weather_either(job: Job, lasting: Weather, as_of: datetime) -> None:
    """Seen: frost every night, no end of curing in it, and one watering in the simulation's last evening."""
    covered = job(curing={"method": "plastic sheet"}, site=NOWHERE)
    schedule = plan_cure(covered, lasting(-6.0, 3.0), as_of)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is None or schedule.dries_before_frost
    assert schedule.watering
    assert not any(day.visits for day in schedule.watering)


def test_blankets_keep_a_slab_warmer_and_bring_the_frost_safe_date_forward(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    cold = weather(-6.0, 4.0)
    bare, covered = (
        plan_cure(job(curing={"method": method}), cold, as_of)
        for method in ("curing compound", "insulating blanket")
    )
    coldest = [each.history.temperature_c.low.surface[: 6 * 24].min() for each in (covered, bare)]
    assert coldest[0] > coldest[1]  # while the blanket is on: it counts for a week
    dates = [each.milestone(MilestoneKind.FROST_SAFE) for each in (covered, bare)]
    assert dates[0] is not None
    assert dates[0].not_before is not None
    assert dates[1] is not None
    assert (dates[1].not_before or datetime.max.replace(tzinfo=UTC)) > dates[0].not_before


def test_a_slab_that_stays_frozen_never_sets(job: Job, lasting: Weather, as_of: datetime) -> None:
    """Set table of the trade: at 20 degF never."""
    frozen = job(placement={"concrete_temperature": 1.7}, site=NOWHERE)
    schedule = plan_cure(frozen, lasting(-25.0, -20.0), as_of)
    final = schedule.milestone(MilestoneKind.FINAL_SET)
    assert final is not None
    assert final.not_before is None
    assert "not-reached" in {caution.code for caution in schedule.cautions}
    assert np.all(schedule.history.strength_mpa.low.surface == 0.0)


def test_edge_forms_come_off_in_three_days_where_the_air_never_gets_warm(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Beall, Masonry and Concrete, 2004, p. 76: walls and footings 3 d; strength may ask for more."""
    schedule = plan_cure(job(), weather(1.0, 8.0), as_of)
    stripped = schedule.milestone(MilestoneKind.STRIP_EDGE_FORMS)
    assert stripped is not None
    assert stripped.not_before is not None
    assert stripped.not_before - schedule.placement_end >= timedelta(days=3)


def test_cold_stretches_curing_but_not_for_ever(job: Job, weather: Weather, as_of: datetime) -> None:
    ends = [
        plan_cure(job(), weather(low, low + 8.0), as_of).milestone(MilestoneKind.CURING_ENDS)
        for low in (3.0, 20.0)
    ]
    assert ends[0] is not None
    assert ends[1] is not None
    assert ends[0].not_before is not None
    assert ends[1].not_before is not None
    assert ends[0].not_before > ends[1].not_before


def test_a_caution_of_cold_shows_the_forecast_beside_its_margin(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """The forecast figure is the coldest of the hours given; the margin is below that."""
    cold = weather(-6.0, 4.0)
    schedule = plan_cure(job(), cold, as_of)
    cautions = {
        each.code: {figure.name: figure.value for figure in each.figures} for each in schedule.cautions
    }
    assert cautions["cold-weather"]["forecast_air"] == cold.air_c.min()
    for code in ("cold-weather", "frost"):
        assert cautions[code]["coldest_air"] < cautions[code]["forecast_air"]


def test_the_caution_of_frost_is_for_all_nights_in_which_the_slab_is_weak(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Seen: the lowest air of the first night, and a colder second one, while the slab was as weak."""
    colder = weather(-1.0, 8.0)
    colder.air_c[40:] -= 4.0  # from the second night on
    schedule = plan_cure(job(), colder, as_of)
    [caution] = [each for each in schedule.cautions if each.code == "frost"]
    frosts = early_frosts(schedule)
    assert len(frosts) > 1
    for figure in caution.figures:
        if figure.name in {"coldest_air", "forecast_air", "coldest_surface"}:
            of_each = [one.value for each in frosts for one in each.figures if one.name == figure.name]
            assert figure.value == min(of_each) < of_each[0]


def test_no_wet_burlap_where_it_freezes(job: Job, lasting: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(site=NOWHERE), lasting(-6.0, 4.0), as_of)
    assert not any(day.visits for day in schedule.watering)
    assert "wet-dry" not in {each.code for each in schedule.cautions}


def test_no_water_on_a_young_slab_where_the_cold_end_of_the_band_freezes(
    job: Job, lasting: Weather, as_of: datetime
) -> None:
    """A cover for a frost and a watering are never in the same hours."""
    schedule = plan_cure(job(site=NOWHERE), lasting(2.0, 12.0), as_of)
    frosts = [each for each in schedule.risks if each.code == "frost"]
    assert frosts
    visits = [visit for day in schedule.watering for visit in day.visits]
    assert not any(each.start < frost.end and frost.start < each.end for each in visits for frost in frosts)
    covers = [each for each in frost_covers(schedule) if each.end is not None]
    assert not any(cover.start < each.start < cover.end for each in visits for cover in covers if cover.end)


@pytest.mark.parametrize("method", ["sprinkler", "curing compound", "plastic sheet", "wet burlap"])
def test_every_frost_before_cold_protection_ends_has_its_cover(
    job: Job, lasting: Weather, as_of: datetime, method: str
) -> None:
    """Seen: "cover it when frost may come" until cold protection ends, and no cover in its last nights."""
    record = job(curing={"method": method}, site=NOWHERE)
    cold = lasting(6.0, 12.0)
    cold.air_c[84:] -= 9.0  # frost from the fourth night on
    schedule, simulation = plan_cure(record, cold, as_of), simulate(record, cold, as_of)
    safe, ends = (
        schedule.milestone(each) for each in (MilestoneKind.FROST_SAFE, MilestoneKind.PROTECTION_ENDS)
    )
    assert safe is not None
    assert safe.not_before is not None
    assert ends is not None
    assert ends.not_before is not None
    time_s, coldest = simulation.slab_s(CENTRAL), simulation.slab.temperature_c[:, CENTRAL, 0]
    if method != "plastic sheet":  # under one the air may freeze and the top does not
        coldest = np.minimum(coldest, simulation.slab.air.air_c[:, CENTRAL])
    frozen = time_s[(coldest < 0.0) & (time_s < ends.not_before.timestamp())]
    later = [datetime.fromtimestamp(each, UTC) for each in frozen if each >= safe.not_before.timestamp()]
    assert later
    covers = frost_covers(schedule)
    assert all(any(cover.covers_at(each) for cover in covers) for each in later)
    visits = [visit for day in schedule.watering for visit in day.visits]
    assert not any(cover.meets(visit) for cover in covers for visit in visits)
    assert not any(each.code == "frost" for each in schedule.cautions)  # strong enough by then


@pytest.mark.parametrize("method", ["insulating blanket", "soaker hose"])
def test_nobody_walks_through_a_slab_that_lies_under_a_cover(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    """Seen: a walk-through on the day on which blankets come off at 2 in the afternoon, without an hour."""
    record = job(curing={"method": method})
    schedule = with_tasks(plan_cure(record, weather(-6.0, 4.0), as_of), record)
    [walk] = schedule.tasks_of("crew", WALK_THROUGH)
    [seen_by_owner] = schedule.tasks_of("owner", WALK_THROUGH)
    assert (seen_by_owner.start, seen_by_owner.end) == (walk.start, walk.end)
    assert not any(each.start < walk.end and walk.start < each.end for each in frost_covers(schedule))
    [lifted] = schedule.tasks_of("crew", BLANKETS_OFF)
    assert lifted.start.date() == walk.start.date()
    assert not walk.all_day
    assert lifted.end <= walk.start
