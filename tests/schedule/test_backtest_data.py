"""What came of dates in real weather: the data, the guide and the schedule say the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from handover.documents.data_sheet import DataSheet
from handover.documents.wording import Wording
from handover.practice.backtest import SEASONS, BacktestRow, backtest, season_of
from handover.practice.rules import general_rules
from handover.schedule import quantiles
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.quantiles import share_to_wait_for

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
TRUCKS = MilestoneKind.HEAVY_VEHICLES


def cell(row: BacktestRow) -> str:
    """Return a cell of the guide's table: too early, median later than needed, and not printed."""
    often = f"{row.too_early:.0%}, {row.median_later:.0f} h".replace("%", " %")
    return often + (f", {row.not_printed:.0%} none".replace("%", " %") if row.not_printed else "")


@pytest.mark.parametrize("kind", sorted({name for name, _ in backtest().rows}))
def test_the_guide_has_the_data(kind: str) -> None:
    cells = [cell(backtest().rows[kind, season]) for season in SEASONS]
    assert f"| {kind} | {' | '.join(cells)} |" in GUIDE.read_text(encoding="utf-8")


def test_every_date_that_is_tested_exists_and_has_every_season() -> None:
    kinds = {name for name, _ in backtest().rows}
    assert kinds <= set(MilestoneKind)
    assert set(backtest().rows) == {(kind, season) for kind in kinds for season in SEASONS}
    assert set(backtest().levels) < kinds


def test_no_date_waits_for_fewer_members_than_the_share_that_is_printed() -> None:
    assert backtest().share == general_rules()["spread.share"]
    assert all(level >= backtest().share for level in backtest().levels.values())


def test_the_goals_hold_up_to_cars() -> None:
    """At most 15 in 100 too early, at most 20 in 100 not printed: over the year, both places together."""
    for kind in [each for each in MilestoneKind if each != TRUCKS]:
        rows = [row for (name, _), row in backtest().rows.items() if name == kind]
        if rows:
            assert sum(row.too_early for row in rows) / len(rows) <= 0.15
            assert sum(row.not_printed for row in rows) / len(rows) <= 0.20


@pytest.mark.parametrize("kind", MilestoneKind)
@pytest.mark.parametrize("share", [0.6, 0.9, 0.99])
def test_a_date_waits_for_its_share_or_more(kind: MilestoneKind, share: float) -> None:
    waits = share_to_wait_for(kind, share)
    assert share <= waits < 1.0
    if share == backtest().share:
        assert waits == pytest.approx(backtest().levels.get(kind, share))


def test_a_date_that_was_missed_more_often_waits_for_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a standard deviation more: 0.8997 is 1.280 of them above the middle, 0.9624 is 1.780."""
    data = replace(backtest(), share=0.8997, levels={"foot-traffic": 0.9624})
    monkeypatch.setattr(quantiles, "backtest", lambda: data)
    assert share_to_wait_for("foot-traffic", 0.8997) == pytest.approx(0.9624)
    assert share_to_wait_for("foot-traffic", 0.5) == pytest.approx(0.6915, abs=1e-3)  # 0.5 of them
    assert share_to_wait_for("light-work", 0.5) == 0.5


@pytest.mark.parametrize(
    ("month", "latitude", "season"),
    [(1, 36.0, "winter"), (1, -36.0, "summer"), (4, 50.0, "spring"), (11, None, "fall"), (6, -1.0, "winter")],
)
def test_seasons_south_of_the_equator_are_half_a_year_later(
    month: int, latitude: float | None, season: str
) -> None:
    assert season_of(month, latitude) == season


def test_the_schedule_says_how_often_a_date_came_later(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(), weather(), as_of)
    for each in schedule.milestones:
        row = backtest().rows.get((each.kind, "summer"))
        expected = None if row is None or each.kind == MilestoneKind.SAW_JOINTS else row.too_early
        assert each.later_in_tests == expected


def test_another_share_was_not_tested(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(), weather(), as_of, share=0.8)
    assert {each.later_in_tests for each in schedule.milestones} == {None}


def test_the_share_of_the_members_is_the_one_that_the_date_waits_for(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Seen: 90 % beside a date that waits for 93 of a hundred."""
    for each in plan_cure(job(), weather(), as_of).milestones:
        if each.kind != MilestoneKind.SAW_JOINTS:
            assert each.confidence == pytest.approx(backtest().levels.get(each.kind, 0.9))


@pytest.mark.parametrize(
    ("language", "words", "own"),
    [
        ("en", "summer tests: {} of 100 later", "of computed cases"),
        ("es", "pruebas, verano: {} de 100 después", "de los casos calculados"),
    ],
)
def test_the_data_sheet_prints_it_beside_the_date(
    job: Job, weather: Weather, as_of: datetime, language: str, words: str, own: str
) -> None:
    """Two figures of two things, each by its name: the share of the members, and that of the tests."""
    schedule = plan_cure(job(), weather(), as_of)
    printed = DataSheet(Wording(job(), schedule, language=language)).dates
    for date, milestone in zip(printed, schedule.milestones, strict=True):
        row = backtest().rows.get((milestone.kind, "summer"))
        known = row is not None and milestone.kind != MilestoneKind.SAW_JOINTS
        assert date.tests == (words.format(round(100 * row.too_early)) if known else "")
        assert own in date.basis
