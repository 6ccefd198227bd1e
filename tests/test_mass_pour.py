"""A thick slab of a rich mix in the heat: it is told that it gets too hot inside, or has no dates at all."""

from __future__ import annotations

import json
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest

from handover.errors import UnusableInput
from handover.service import start_hours
from handover.service.inputs import compute
from handover.service.issuing import check_request, read_request

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.schedule.model import CureSchedule

ACI_LIMIT_C = 70.0
"""ACI 301-20: at most 160 degF (70 degC) after placement, as the institute's question 889 quotes it."""

MASS = (('"5 in"', '"24 in"'), ('cement = "I"', 'cement = "III"'), ("0.50", "0.38"), ("3000 psi", "6000 psi"))
RICH = (*MASS, ("564 lb", "1100 lb"), ("84 degF", "100 degF"))
RICHEST = (*MASS, ("564 lb", "1200 lb"), ("84 degF", "100 degF"), ("sprinkler", "plastic sheet"))


@pytest.fixture
def files(tmp_path: Path, record_text: str, hourly: Callable[..., Any]) -> Callable[..., tuple[Path, Path]]:
    """Give the maker of a record with some changes, and of its weather, warmer by some kelvins."""

    def write(changes: tuple[tuple[str, str], ...], warmer: float) -> tuple[Path, Path]:
        text = record_text
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        weather = hourly()
        weather["hourly"]["temperature_2m"] = [each + warmer for each in weather["hourly"]["temperature_2m"]]
        record, file = tmp_path / "mass.toml", tmp_path / "mass-weather.json"
        record.write_text(text, encoding="utf-8")
        file.write_text(json.dumps(weather), encoding="utf-8")
        return record, file

    return write


def planned(record: Path, weather: Path, as_of: str) -> CureSchedule:
    at = datetime.fromisoformat(as_of)
    return compute(check_request(read_request(record, weather, at)), at)


@pytest.mark.usefixtures("few_members")
def test_a_mass_pour_is_told_how_hot_it_gets_inside(files: Any, as_of: str) -> None:
    schedule = planned(*files(RICH, 8.0), as_of)
    [caution] = [each for each in schedule.cautions if each.code == "hot-inside"]
    figures = {each.name: each.value for each in caution.figures}
    assert figures["limit"] == ACI_LIMIT_C
    assert figures["hottest_inside"] > ACI_LIMIT_C
    assert schedule.milestones


@pytest.mark.usefixtures("few_members")
def test_a_garage_floor_on_a_hot_day_is_not(files: Any, as_of: str) -> None:
    assert not planned(*files((), 8.0), as_of).has_caution("hot-inside")


@pytest.mark.usefixtures("few_members", "stand_in_pdf")
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_sheets_say_so(run: Any, files: Any, as_of: str, tmp_path: Path, language: str) -> None:
    record, weather = files(RICH, 8.0)
    options = ("--as-of", as_of, "--language", language)
    assert run("issue", record, "-w", weather, "-o", tmp_path / "out", *options).status == 0
    [page] = (tmp_path / "out").glob("care-page*.html")
    title = {"en": "The concrete gets hot inside", "es": "El concreto se calienta mucho por dentro"}[language]
    assert title in page.read_text("utf-8")


@pytest.mark.usefixtures("few_members")
def test_where_the_calculation_does_not_hold_there_are_no_dates(
    run: Any, files: Any, as_of: str, tmp_path: Path
) -> None:
    record, weather = files(RICHEST, 16.0)
    with pytest.raises(UnusableInput, match=r"holds up to 90 degC \(194 degF\) only"):
        planned(record, weather, as_of)
    result = run("issue", record, "-w", weather, "-o", tmp_path / "out", "--as-of", as_of)
    assert result.status == 2
    assert "mix.cementitious" in result.err
    assert not (tmp_path / "out").exists()


def test_start_hours_refuse_it_in_the_same_words(
    run: Any, files: Any, as_of: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(start_hours, "compare_starts", partial(start_hours.compare_starts, members=8))
    record, weather = files(RICHEST, 16.0)
    day = as_of[:10]
    window = ("--from", f"{day}T07:00", "--until", f"{day}T08:00")
    result = run("starts", record, "-w", weather, "--as-of", f"{day}T00:00", *window)
    assert result.status == 2
    assert "holds up to 90 degC (194 degF) only" in " ".join(result.err.split())
    assert "mix.cementitious" in result.err
