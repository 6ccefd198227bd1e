"""Why a date moved: one input is changed, and the reason names it; of two that oppose, the larger is named.

That cooler air, less sun and more wind (which cools a wet slab) make concrete gain strength later is general
knowledge of the trade, as in ACI 306R and the maturity rule of ASTM C1074.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from handover.jobs.record import Cylinder
from handover.schedule import reasons
from handover.schedule.changes import changes
from handover.schedule.model import Change, MilestoneKind
from handover.schedule.reasons import Issue, PlanInputs, Share, explain, share_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Build = Callable[..., Any]

Kind = MilestoneKind
ZONE = ZoneInfo("America/New_York")
WATERED = {"available": ("06:30-08:00", "17:00-21:00")}


@pytest.fixture(autouse=True)
def _plan_few(monkeypatch: pytest.MonkeyPatch, plan_once: Callable[..., Any]) -> None:
    monkeypatch.setattr(reasons, "plan_cure", partial(plan_once, members=8))


def explained(
    before: tuple[JobRecord, WeatherSeries], after: tuple[JobRecord, WeatherSeries], at: datetime
) -> dict[str, Change]:
    """Return the changes between two issues by kind; of several days of watering, the last."""
    one, other = (PlanInputs(job, weather, at) for job, weather in (before, after))
    issues = Issue(one.plan(), one), Issue(other.plan(), other)
    return {each.kind: each for each in explain(changes(issues[0].schedule, issues[1].schedule), *issues)}


def reason(found: dict[str, Change], kind: str) -> tuple[str, ...]:
    return found[kind].because


@pytest.mark.parametrize(
    ("column", "by", "cause"),
    [
        ("air_c", -8.0, "cooler"),
        ("air_c", 8.0, "warmer"),
        ("shortwave_wm2", -1.0, "cloudier"),
        ("wind_ms", 1.0, "windier"),
        ("relative_humidity", -0.6, "drier"),
    ],
)
def test_one_column_of_the_weather_is_named(
    job: Build, weather: Build, as_of: datetime, column: str, by: float, cause: str
) -> None:
    """The air by degrees, the others by a share of themselves; the forecast is an hour newer besides."""
    base = weather(8.0, 18.0)
    values = getattr(base, column)
    moved = values + by if column == "air_c" else values * (1.0 + by)
    newer = replace(base, **{column: moved}, issued_at=base.issued_at + timedelta(hours=1))
    found = explained((job(), base), (job(), newer), as_of)
    dates = {kind: each for kind, each in found.items() if kind != "frost"}
    assert dates, "nothing moved"
    assert {each.because for each in dates.values()} == {(cause,)}


@pytest.mark.parametrize(("air_k", "cause"), [(-8.0, "cooler"), (-0.5, "sunnier")])
def test_of_two_that_oppose_the_larger_is_named(
    job: Build, weather: Build, as_of: datetime, air_k: float, cause: str
) -> None:
    """Sun on a slab that was under cloud brings dates forward, cooler air puts them off."""
    bright = weather(8.0, 18.0)
    dark = replace(bright, shortwave_wm2=bright.shortwave_wm2 * 0.6)
    newer = replace(bright, air_c=bright.air_c + air_k)
    found = explained((job(), dark), (job(), newer), as_of)
    change = found[Kind.SAW_JOINTS]
    assert change.because == (cause,)
    assert (change.after[0] > change.before[0]) == (cause == "cooler")


def test_rain_that_waters_a_day_is_named(job: Build, weather: Build, as_of: datetime) -> None:
    base = weather(14.0, 24.0)
    third = (base.time >= base.time[48]) & (base.time < base.time[72])
    rainy = replace(
        base,
        precipitation_mm=np.where(third, 2.0, 0.0),
        precipitation_probability=np.where(third, 1.0, 0.0),
        air_c=base.air_c - 0.2,
    )
    watered = job(curing={"available": ("06:30-21:00",)})  # often enough: no plastic keeps the rain off
    found = explained((watered, base), (watered, rainy), as_of)
    assert reason(found, "watering") == ("rain",)
    assert reason(explained((watered, rainy), (watered, base), as_of), "watering") == ("no-rain",)


@pytest.mark.parametrize(
    ("table", "field", "value", "cause"),
    [
        ("placement", "concrete_temperature", 8.0, "concrete-temperature"),
        ("mix", "fly_ash", 0.4, "mix"),
        ("slab", "thickness", 0.25, "record"),
    ],
)
def test_a_field_of_the_record_is_named_beside_a_little_weather(
    job: Build, weather: Build, as_of: datetime, table: str, field: str, value: object, cause: str
) -> None:
    base = weather(8.0, 18.0)
    newer = replace(base, air_c=base.air_c - 0.1, wind_ms=base.wind_ms * 1.01)
    found = explained((job(), base), (job(**{table: {field: value}}), newer), as_of)
    assert reason(found, Kind.FIRST_WATER) == (cause,)


def test_other_hours_of_the_owner_are_named(job: Build, weather: Build, as_of: datetime) -> None:
    base = weather()
    newer = replace(base, air_c=base.air_c - 0.2)
    noon = job(curing={"available": ("11:00-13:00",)})
    found = explained((job(curing=WATERED), base), (noon, newer), as_of)
    assert reason(found, Kind.FIRST_WATER) == ("hours",)


def test_weak_cylinders_are_named_and_nothing_is_planned_for_them(
    job: Build, weather: Build, as_of: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are all that differs."""
    weak = job().model_copy(
        update={
            "cylinder": tuple(
                Cylinder(age=days * 24.0, strength=mpa, cured="standard")
                for days, mpa in ((3, 5.0), (7, 8.0))
            )
        }
    )
    one, other = (PlanInputs(each, weather(), as_of) for each in (job(), weak))
    before, after = Issue(one.plan(), one), Issue(other.plan(), other)
    found = changes(before.schedule, after.schedule)
    assert found
    monkeypatch.setattr(reasons, "plan_cure", None)
    assert {each.because for each in explain(found, before, after)} == {("cylinder",)}


def test_no_further_input_is_tried_once_one_explains_it(
    job: Build, weather: Build, as_of: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Air is tried before the wind, which does nothing here to speak of: one plan, not two."""
    base = weather(8.0, 18.0)
    newer = replace(base, air_c=base.air_c - 8.0, wind_ms=base.wind_ms + 1e-6)
    one, other = (PlanInputs(job(), each, as_of) for each in (base, newer))
    before, after = Issue(one.plan(), one), Issue(other.plan(), other)
    found = changes(before.schedule, after.schedule)
    planned: list[Any] = []
    plan = reasons.plan_cure
    monkeypatch.setattr(
        reasons, "plan_cure", lambda *args, **kept: (planned.append(args), plan(*args, **kept))[1]
    )
    assert {each.because for each in explain(found, before, after) if each.kind != "frost"} == {("cooler",)}
    assert len(planned) == 1


# ---- the shares alone: expected values by the definition


MOVE = Change(
    Kind.LIGHT_WORK,
    (datetime(2026, 7, 18, tzinfo=ZONE),),
    (datetime(2026, 7, 20, tzinfo=ZONE),),
    ("forecast",),
)


def names(weather: WeatherSeries) -> Any:
    newer = replace(weather, air_c=weather.air_c - 1.0, wind_ms=weather.wind_ms + 1.0)
    placed = weather.first_hour
    return reasons._Names(weather, newer, placed)


@pytest.mark.parametrize(
    ("shares", "expected"),
    [
        ({"air": 0.9, "wind": 0.1}, ("cooler",)),
        ({"air": 0.1, "wind": 0.6}, ("windier",)),
        ({"air": 0.4, "wind": 0.3, "finished": 0.2}, ("cooler", "windier")),
        ({"air": 0.2, "wind": 0.2, "finished": 0.05}, ("several",)),
        ({"air": -0.7, "finished": 1.7}, ("finished",)),
    ],
)
def test_a_cause_of_less_than_half_is_not_named_alone(
    weather: Build, shares: dict[str, float], expected: tuple[str, ...]
) -> None:
    found = names(weather()).causes(MOVE, {part: Share(each) for part, each in shares.items()})
    assert found == expected


def test_the_share_of_a_date_is_its_part_of_the_way(job: Build, weather: Build, as_of: datetime) -> None:
    schedule = PlanInputs(job(), weather(), as_of).plan()

    def moved(hours: float) -> Any:
        dates = tuple(
            replace(each, not_before=each.not_before + timedelta(hours=hours))
            if each.kind == Kind.LIGHT_WORK
            else each
            for each in schedule.milestones
        )
        return replace(schedule, milestones=dates)

    for hours, expected in ((3.0, 0.25), (12.0, 1.0), (-6.0, -0.5), (0.0, 0.0)):
        assert share_of(MOVE, schedule, moved(hours), moved(12.0)).of_move == pytest.approx(expected)
