"""The command before the pour: what it prints, writes and refuses."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache, partial
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import pikepdf
import pytest
from jsonschema import Draft202012Validator, ValidationError

from handover.cli import main
from handover.documents.starts_json import starts_schema
from handover.documents.templating import languages
from handover.documents.translations import load_translations
from handover.documents.words.starts import COLUMNS, StartWording
from handover.errors import UnusableInput
from handover.jobs.reading import read_source
from handover.schedule.start_hours import HARDSHIP, HARM, Concern, RefusedStart, SawHours
from handover.service import start_hours as start_service
from handover.service.inputs import read_weather_file
from handover.service.settings import Settings
from handover.service.start_hours import (
    StartRequest,
    StartWindow,
    compare_start_hours,
    start_data,
    start_page,
    start_picture,
    start_words,
)
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.service.start_hours import ComparedStarts

    Run = Callable[..., Any]

pytestmark = pytest.mark.spread

SAMPLE = Path(__file__).parents[1] / "sample_jobs" / "summer-garage"
NOVEMBER = SAMPLE.parent / "november-shop"
ASKED = "2026-07-14T03:00:00-04:00"
FEW = ("--from", "7/14/2026 5 AM", "--until", "2026-07-14T08:00")


@pytest.fixture(autouse=True)
def fewer_members(monkeypatch: pytest.MonkeyPatch) -> None:
    """Compare starts with few members: what is printed of a start is tested here, not how sure it is."""
    monkeypatch.setattr(start_service, "compare_starts", partial(start_service.compare_starts, members=8))


@lru_cache(maxsize=1)
def two_days() -> ComparedStarts:
    """Compare the starts of the next two days in November."""
    return compare_start_hours(request(NOVEMBER, "2026-11-10T03:00:00-06:00"))


in_one_worker = pytest.mark.xdist_group("starts of two days")  # which compares them once


def arguments(*more: str, record: Path = SAMPLE / "job.toml") -> list[object]:
    return ["starts", record, "-w", SAMPLE / "weather.csv", "--as-of", ASKED, *more]


def request(folder: Path, asked: str, **options: Any) -> StartRequest:
    return StartRequest(
        read_source(folder / "job.toml"),
        read_weather_file(folder / "weather.csv"),
        datetime.fromisoformat(asked),
        **options,
    )


@pytest.fixture
def unplaced(tmp_path: Path) -> Path:
    """The sample's record as it was before the pour: without its placement and its measurements."""
    text = (SAMPLE / "job.toml").read_text("utf-8")
    text = re.sub(r"(?ms)^\[(placement)\]\n.*?(?=^\[)", "", text)
    text = re.sub(r"(?ms)^\[\[(?:ticket|cylinder)\]\]\n.*?(?=^\[|\Z)", "", text)
    record = tmp_path / "job.toml"
    record.write_text(text, "utf-8")
    return record


# ---- the terminal


def test_each_hour_is_a_line_and_the_best_two_come_first(run: Run) -> None:
    result = run(*arguments(*FEW))
    assert result.status == 0
    assert "Best start: " in result.out
    assert "Next best: " in result.out
    rows = [line for line in result.out.splitlines() if re.match(r"Tue [5-8] am ", line)]
    assert len(rows) == 4
    assert "There is no score" in " ".join(result.out.split())


def test_a_record_without_a_placement_is_enough(run: Run, unplaced: Path) -> None:
    result = run(*arguments(*FEW, "--crew-hours", "2.5", record=unplaced))
    assert result.status == 0
    assert "Placing takes 2 hours 30 minutes" in result.out
    by_volume = run(*arguments(*FEW, record=unplaced))
    assert "Placing takes 1 hour 30 minutes" in by_volume.out  # 40 x 30 ft, 4 in: 14.8 yd3
    assert "ticket" not in by_volume.err


def test_it_speaks_spanish(run: Run) -> None:
    result = run(*arguments(*FEW, "--language", "es"))
    assert "Mejor hora: " in result.out
    assert "Best" not in result.out


def test_json_has_every_start_in_si_and_the_order(run: Run) -> None:
    compared = json.loads(run(*arguments(*FEW, "--json")).out)
    assert [each["start"] for each in compared["starts"]] == [
        f"2026-07-14T0{hour}:00:00-04:00" for hour in (5, 6, 7, 8)
    ]
    assert sorted(compared["order"]) == [0, 1, 2, 3]
    assert compared["watch_limit"] == pytest.approx(0.488)
    for each in compared["starts"]:
        assert each["peak_drying"] > 0.0
        assert each["end"] > each["start"]
        assert {concern["code"] for concern in each["concerns"]} <= {*HARM, *HARDSHIP}


def test_without_a_weather_file_the_forecast_of_the_window_is_downloaded(
    run: Run, record: Path, weather: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[datetime, datetime]] = []

    def give(_: Any, start: datetime, until: datetime, **__: Any) -> Download:
        asked.append((start, until))
        return Download(
            weather.read_bytes(), "open-meteo", "an address", datetime(2026, 7, 14, 4, tzinfo=UTC)
        )

    monkeypatch.setattr("handover.weather.download.download_forecast", give)
    window = (
        "--from",
        "2026-07-15T06:00",
        "--until",
        "2026-07-15T08:00",
        "--as-of",
        "2026-07-14T01:00:00-04:00",
    )
    result = run("starts", record, *window)
    assert result.status == 0, result.err
    ((start, until),) = asked
    assert start.isoformat() == "2026-07-15T06:00:00-04:00"
    assert until > start + timedelta(days=7)
    record.write_text(re.sub(r'email = "office@[^"]*"', "", record.read_text("utf-8")), "utf-8")
    refused = run("starts", record, *window)
    assert refused.status == 2
    assert "contractor.email" in refused.err


# ---- picture and page


def test_picture_and_page_are_written_once(run: Run, tmp_path: Path) -> None:
    picture, page = tmp_path / "starts.svg", tmp_path / "starts.pdf"
    result = run(*arguments(*FEW, "--svg", str(picture), "--pdf", str(page)))
    assert result.status == 0
    root = ET.fromstring(picture.read_bytes())  # noqa: S314 - our own
    assert root.tag.endswith("svg")
    assert page.read_bytes().startswith(b"%PDF")
    again = run(*arguments(*FEW, "--svg", str(picture)))
    assert again.status == 2
    assert "already exists" in again.err


@in_one_worker
def test_two_days_fit_on_one_page_in_each_language() -> None:
    compared = two_days()
    assert len(compared.comparison.starts) == 24
    for language in languages():
        settings = Settings(languages=(language,), paper="a4")
        page = start_page(start_words(compared, settings), settings)
        with pikepdf.open(BytesIO(page)) as pdf:
            assert len(pdf.pages) == 1


def test_the_same_question_has_the_same_bytes() -> None:
    window = StartWindow("2026-07-14T05:00", "2026-07-14T07:00")
    pairs = [compare_start_hours(request(SAMPLE, ASKED, window=window)) for _ in range(2)]
    assert start_data(pairs[0]) == start_data(pairs[1])
    assert start_picture(start_words(pairs[0])) == start_picture(start_words(pairs[1]))


@in_one_worker
def test_the_json_satisfies_its_schema() -> None:
    schema = starts_schema()
    Draft202012Validator.check_schema(schema)
    document = json.loads(start_data(two_days()))
    Draft202012Validator(schema).validate(document)
    document["starts"][0]["score"] = 1  # there is none
    with pytest.raises(ValidationError):
        Draft202012Validator(schema).validate(document)


def test_every_field_of_the_schema_says_what_it_means_and_every_number_its_unit() -> None:
    schema = starts_schema()
    for each in (schema, *schema["$defs"].values()):
        assert each["additionalProperties"] is False
        assert [*each["properties"]] == each["required"]
        for name, field in each["properties"].items():
            assert field["description"], name
            # The unit of the value of a figure is beside it.
            assert "number" not in field.get("type", ()) or name == "value" or field["description"][-1] == "]"


def test_the_published_schema_is_the_one_that_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """After a change that is meant, print it into that file: it is a snapshot of what the model says."""
    published = files("handover.documents").joinpath("starts.schema.json").read_text(encoding="utf-8")
    assert main(["schema", "starts"]) == 0
    assert capsys.readouterr().out == published


@in_one_worker
def test_a_band_covers_exactly_the_starts_that_a_danger_meets() -> None:
    compared = two_days()
    starts = compared.comparison.starts
    picture = start_picture(start_words(compared)).decode()
    for code in (*HARM, *HARDSHIP):
        label = load_translations("en").say(f"starts.row.{code}")
        assert (f">{label}<" in picture) == any(code in each.codes for each in starts)


@pytest.mark.parametrize("language", languages())
def test_every_danger_and_column_has_words(language: str) -> None:
    words = load_translations(language)
    for code in (*HARM, *HARDSHIP):
        assert words.has(f"starts.against.{code}")
        assert words.has(f"starts.row.{code}")
        assert words.has(f"starts.short.{code}") or code == "saw-in-stages"
    assert all(words.has(f"starts.head.{each}") for each in COLUMNS)


@in_one_worker
def test_a_start_at_which_the_slab_is_too_hot_is_named_without_hours() -> None:
    compared = two_days()
    hot = RefusedStart(compared.comparison.starts[-1].start + timedelta(hours=1), 93.0)
    refused = replace(compared.comparison, refused=(hot,))
    note = start_words(replace(compared, comparison=refused)).notes[0]
    assert "Wed, 4:00 pm" in note
    assert "199\N{NO-BREAK SPACE}°F" in note  # 93 degC
    assert "194\N{NO-BREAK SPACE}°F" in note  # 90 degC
    assert note not in start_words(compared).notes


# ---- the window


@in_one_worker
def test_without_a_window_it_is_the_next_two_days() -> None:
    starts = two_days().comparison.starts
    assert len(starts) == 24
    assert starts[0].start.isoformat() == "2026-11-10T04:00:00-06:00"
    assert starts[-1].start - starts[0].start < timedelta(days=2)


@pytest.mark.parametrize(
    ("window", "count", "first"),
    [
        (StartWindow("2026-07-15", "2026-07-15"), 12, 4),
        (StartWindow("2026-07-15T06:00", "2026-07-15"), 10, 6),
        (StartWindow("2026-07-14T22:00", "2026-07-15T02:00"), 5, 22),
        (StartWindow(None, "2026-07-14"), 12, 4),
    ],
)
def test_a_window_of_days_or_of_moments(window: StartWindow, count: int, first: int) -> None:
    starts = compare_start_hours(request(SAMPLE, ASKED, window=window)).comparison.starts
    assert len(starts) == count
    assert starts[0].start.hour == first


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--from", "tomorrow"), "neither a day nor a moment"),
        (("--from", "7/8/2026"), "several meanings"),
        (("--from", "2026-07-14 5:00"), "several meanings"),
        (("--from", "2026-07-15", "--until", "2026-07-14"), "no start hour"),
        (("--from", "2026-07-14", "--until", "2026-07-30"), "1 to 96"),
        (("--crew-hours", "0"), "not how long a crew places"),
        (("--crew-hours", "30"), "not how long a crew places"),
        (("--from", "2027-01-10"), "the weather"),
    ],
)
def test_what_cannot_be_compared_is_refused(more: tuple[str, ...], said: str, run: Run) -> None:
    result = run(*arguments(*more))
    assert result.status == 2
    assert said in " ".join(result.err.split())


def test_a_forecast_that_ends_within_a_day_of_the_last_start_is_refused() -> None:
    window = StartWindow("2026-11-21", "2026-11-21")  # the sample's weather ends on the 22nd, 1 am
    with pytest.raises(UnusableInput, match="ends at"):
        compare_start_hours(request(NOVEMBER, "2026-11-20T12:00:00-06:00", window=window))


def test_faults_of_record_and_weather_are_reported_together(run: Run, tmp_path: Path) -> None:
    record = tmp_path / "job.toml"
    record.write_text('id = "x"\n[slab]\nthickness = "5"\n', "utf-8")
    result = run("starts", record, "-w", tmp_path / "none.csv", "--as-of", ASKED)
    assert result.status == 2
    assert "slab.thickness" in result.err
    assert "none.csv" in result.err


@in_one_worker
@pytest.mark.parametrize(
    ("before_set", "units", "said"),
    [
        (8.0, "si", "Rain is likely on the fresh concrete: 8 mm, "),
        (3.0, "si", "Of it, 3 mm falls before it has set."),
        (0.0, "si", "after it has set: 8 mm, "),
        (8.0, "us", "Rain is likely on the fresh concrete: 0.31 in, "),
    ],
)
def test_rain_is_said_in_the_units_of_the_reader(before_set: float, units: str, said: str) -> None:
    compared = two_days()
    start = compared.comparison.starts[0]
    rain = Concern("rain", start.start, start.end)
    rained = replace(start, rain_mm=8.0, rain_before_set_mm=before_set, concerns=(rain,))
    words = start_words(compared, Settings(units=units))  # type: ignore[arg-type]
    [sentence] = words.words_of(rained).sentences
    assert said in sentence.replace("\N{NO-BREAK SPACE}", " ")


@in_one_worker
def test_the_last_hour_of_the_saw_is_the_same_in_table_and_sentence() -> None:
    """Seen: "in parts, by 2:30 pm" beside "be done by 3 pm". A last hour is never printed late."""
    compared = two_days()
    start = compared.comparison.starts[0]
    opens = start.end.replace(hour=12, minute=10)
    closes = opens.replace(hour=14, minute=50)
    parts = SawHours(opens, closes, in_stages=True, daylight_h=None)
    sawn = replace(start, saw=parts, concerns=(Concern("saw-in-stages", opens, closes),))
    words = start_words(compared).words_of(sawn)
    hour = closes.replace(minute=30)
    last = start_words(compared).clock(hour, start)
    assert f"be done by {last}." in words.sentences[0]
    assert f"by {last}" in words.cells[COLUMNS.index("saw")]


def test_a_start_that_dries_fast_below_the_limit_is_not_said_to_be_free_of_it() -> None:
    compared = two_days()
    start = replace(compared.comparison.starts[0], concerns=())
    words = start_words(compared)
    calm, dry = (words.words_of(replace(start, watch_hours=each)) for each in (0.0, 5.9))
    assert calm.sentences == (words.say("starts.against.none"),)
    assert calm.cells[-1] == words.say("starts.short.none")
    for said in (*dry.sentences, dry.cells[-1]):
        assert " 6 h" in said.replace("\N{NO-BREAK SPACE}", " ")


@in_one_worker
def test_a_start_with_an_early_frost_is_not_called_the_best() -> None:
    """What no blanket helps against is not praised: the heading says that no hour is free of it."""
    compared = two_days()
    headings = []
    for code in ("frost-before-blankets", "finish-dark"):
        start = replace(compared.comparison.best, concerns=(Concern(code, None),))
        comparison = replace(compared.comparison, starts=(start,), order=(0,))
        words = StartWording(start_words(compared).reader, "a slab", comparison)
        headings.append(words.verdict[0][0])
        when = words.words_of(start).when
    assert headings == [words.say("starts.best-frost", when=when), words.say("starts.best", when=when)]
