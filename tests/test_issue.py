"""Whole runs: a record and hourly weather in, the set of documents out."""

from __future__ import annotations

import email
import email.policy
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

import icalendar
import pikepdf
import pytest

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.pages import care_page_html, care_sheet_html, crew_sheet_html, data_sheet_html
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.service.inputs import compute
from handover.service.issuing import check_request, read_request
from handover.service.summary import first_task_of

if TYPE_CHECKING:
    from collections.abc import Callable

    Run = Callable[..., Any]
    Sample = Callable[[str], Path]
    SampleArguments = Callable[[str], list[object]]

pytestmark = [pytest.mark.spread, pytest.mark.usefixtures("shared_schedules")]

ROOT = Path(__file__).parents[1]
SAMPLES = sorted(each for each in (ROOT / "sample_jobs").iterdir() if (each / "job.toml").is_file())

SET = {
    "care-sheet.pdf",
    "care-page.html",
    "owner.ics",
    "crew.ics",
    "crew-sheet.pdf",
    "data-sheet.pdf",
    "schedule.json",
    "message.eml",
}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        each.relative_to(folder).as_posix(): each.read_bytes() for each in folder.rglob("*") if each.is_file()
    }


def in_a_process(*arguments: object, **surroundings: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own, somewhere else, with other surroundings."""
    return subprocess.run(
        [Path(sys.executable).with_name("handover"), *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env=surroundings,
        cwd=surroundings.get("PWD"),
    )


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda each: each.name)
@pytest.mark.usefixtures("shared_pdf")
def test_a_sample_comes_out_whole_and_the_same_twice(
    sample: Path, issue_sample: Sample, sample_arguments: SampleArguments, tmp_path: Path
) -> None:
    """Here, and in a process with another hash seed, zone and folder, that finds no font of the system."""
    seed = "2" if os.environ.get("PYTHONHASHSEED") == "1" else "1"
    no_fonts = tmp_path / "fonts.conf"
    no_fonts.write_text('<?xml version="1.0"?><fontconfig/>', encoding="utf-8")
    other = tmp_path / "set"
    result = in_a_process(
        *sample_arguments(sample.name),
        "-o",
        other,
        PATH="/usr/bin:/bin",
        HOME=str(tmp_path),
        PYTHONHASHSEED=seed,
        TZ="Asia/Kathmandu",
        FONTCONFIG_FILE=str(no_fonts),
    )
    assert result.returncode == 0, result.stderr
    assert "font" not in result.stderr.lower()
    one, two = contents(issue_sample(sample.name)), contents(other)
    assert {name for name in one if "/" not in name} == SET
    assert all(one.values())
    assert [name for name in one if one[name] != two.get(name)] == []
    assert one.keys() == two.keys()
    received = {name: content for name, content in one.items() if name.startswith("inputs/")}
    assert received["inputs/job.toml"] == (sample / "job.toml").read_bytes()
    assert len(received) == 3


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda each: each.name)
@pytest.mark.usefixtures("shared_pdf")
def test_no_date_of_a_sample_rests_on_memory_alone(sample: Path, issue_sample: Sample) -> None:
    """The rule that governs a date was read in a source, is computed from such, or is of the trade."""
    schedule = json.loads((issue_sample(sample.name) / "schedule.json").read_text(encoding="utf-8"))
    governing = {each["kind"]: each["because"]["governing"] for each in schedule["milestones"]}
    assert governing
    assert {kind: gate["rule"] for kind, gate in governing.items() if gate["mark"] == "from memory"} == {}


SUMMER = ROOT / "sample_jobs" / "summer-garage"


@pytest.mark.usefixtures("shared_pdf")
def test_what_make_sample_prints(
    run: Run, sample_arguments: SampleArguments, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The documents and their readers, what the sheet says first, how to open it; and no caution."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "platform", "linux")
    result = run(*sample_arguments(SUMMER.name), "-o", "garage")
    assert (result.status, result.err) == (0, "")
    lines = result.out.splitlines()
    for name in (*SET, "inputs/"):
        (line,) = (each for each in lines if each.strip().startswith(name))
        assert " for " in line
    (first,) = (each for each in lines if each.startswith("First water from "))
    sheet = subprocess.run(
        ["pdftotext", "-l", "1", "garage/care-sheet.pdf", "-"], capture_output=True, text=True, check=True
    )
    when = first.removeprefix("First water from ").removesuffix(".")
    assert f"Not before {when}" in " ".join(sheet.stdout.split()), "one story"
    assert lines[-1].strip() == "xdg-open garage/care-sheet.pdf"


def test_the_makefile_issues_the_sample_when_its_forecast_is_fresh() -> None:
    makefile = (ROOT / "Makefile").read_text("utf-8")
    (at,) = re.findall("^ISSUED := (.*)$", makefile, re.MULTILINE)
    assert (
        check_request(
            read_request(SUMMER / "job.toml", SUMMER / "weather.csv", datetime.fromisoformat(at))
        ).cautions
        == ()
    )


@pytest.mark.usefixtures("few_members")
@pytest.mark.parametrize(
    ("method", "cooler", "first"),
    [
        ("sprinkler", 0, "First water from "),
        ("curing compound", 0, "Leave the coat alone: Until "),
        ("plastic sheet", 0, "Check the plastic sheet: "),
        ("insulating blanket", 24, "The crew lays the blankets: From "),
        ("sprinkler", 28, "The crew covers the slab, no water: "),
    ],
)
def test_what_the_owner_does_first(
    record: Path,
    record_text: str,
    weather: Path,
    hourly: Callable[..., Any],
    as_of: str,
    method: str,
    cooler: int,
    first: str,
) -> None:
    answer = hourly()
    answer["hourly"]["temperature_2m"] = [each - cooler for each in answer["hourly"]["temperature_2m"]]
    weather.write_text(json.dumps(answer), encoding="utf-8")
    text = record_text.replace("sprinkler", method).replace('"84 degF"', f'"{84 - cooler} degF"')
    record.write_text(text, encoding="utf-8")
    received = check_request(read_request(record, weather, datetime.fromisoformat(as_of)))
    words = Wording(received.job, compute(received, datetime.fromisoformat(as_of)))
    assert first_task_of(CareSheet(words, {})).startswith(first)


def test_there_are_three_samples() -> None:
    assert len(SAMPLES) == 3


@pytest.fixture
def issue(run: Run, record: Path, weather: Path, as_of: str, tmp_path: Path) -> Callable[..., Path]:
    """Give a function that issues the invented record and returns the folder."""

    def issue_record(
        *more: object, text: str | None = None, at: str = as_of, folder: Path = tmp_path / "out"
    ) -> Path:
        if text is not None:
            record.write_text(text, encoding="utf-8")
        result = run("issue", record, "-w", weather, "-o", folder, "--as-of", at, *more)
        assert result.status == 0, result.err
        return folder

    return issue_record


@pytest.mark.usefixtures("shared_pdf")
def test_the_documents_say_whose_slab_it_is(issue_sample: Sample) -> None:
    folder = issue_sample(SUMMER.name)
    record = tomllib.loads((SUMMER / "job.toml").read_text(encoding="utf-8"))
    name = record["site"]["name"]
    for sheet in ("care-sheet.pdf", "crew-sheet.pdf", "data-sheet.pdf"):
        with pikepdf.open(folder / sheet) as pdf:
            assert len(pdf.pages) >= 1
        text = subprocess.run(["pdftotext", folder / sheet, "-"], capture_output=True, text=True, check=True)
        assert name in " ".join(text.stdout.split())
    assert name in (folder / "care-page.html").read_text(encoding="utf-8")
    message = email.message_from_bytes((folder / "message.eml").read_bytes(), policy=email.policy.default)
    assert record["owner"]["email"] in message["To"]
    assert json.loads((folder / "schedule.json").read_bytes())["job"] == record["id"]


@pytest.mark.usefixtures("stand_in_pdf", "few_members")
def test_a_second_issue_is_the_next_revision_of_the_same_events(issue: Callable[..., Path]) -> None:
    def events(folder: Path) -> dict[str, int]:
        calendar = icalendar.Calendar.from_ical((folder / "owner.ics").read_bytes())
        return {str(each["UID"]): int(each["SEQUENCE"]) for each in calendar.walk("VEVENT")}

    first = events(issue())
    assert events(issue()) == first, "the same issue again is no new revision"
    second = events(issue(at="2026-07-14T18:30:00-04:00"))
    assert second.keys() == first.keys()
    assert {second[uid] - first[uid] for uid in first} == {1}


@pytest.mark.usefixtures("stand_in_pdf", "few_members")
def test_a_folder_of_another_job_is_left_alone(
    issue: Callable[..., Path], run: Run, record: Path, record_text: str, weather: Path, as_of: str
) -> None:
    folder = issue()
    before = contents(folder)
    record.write_text(record_text.replace("test-slab", "other-slab"), encoding="utf-8")
    result = run("issue", record, "-w", weather, "-o", folder, "--as-of", as_of)
    assert result.status == 2
    assert "another job" in result.err
    assert contents(folder) == before


SPANISH = '[owner]\nlanguage = "es"'
IN_ENGLISH = ("--language", "en", "--paper", "a4", "--units", "si")
"""An owner of another language, and an issue in English all the same: two tests look at its sheets."""


@pytest.mark.usefixtures("short_sheets", "few_members")
def test_units_and_paper_of_the_reader(issue: Callable[..., Path], record_text: str) -> None:
    folder = issue(*IN_ENGLISH, text=record_text.replace("[owner]", SPANISH))
    with pikepdf.open(folder / "care-sheet.pdf") as pdf:
        _, _, width, height = (float(each) for each in pdf.pages[0].mediabox)
    # ISO 216: A4 is 210 mm by 297 mm; a point is 1/72 in. Rounded by the engine to a hundredth.
    assert (width, height) == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.02)


@pytest.mark.usefixtures("few_members")
def test_us_and_si_records_of_the_same_job_give_the_same_schedule(
    run: Run, record: Path, record_text: str, weather: Path, as_of: str
) -> None:
    def schedule() -> dict[str, Any]:
        result = run("plan", record, "-w", weather, "--as-of", as_of, "--json")
        assert result.status == 0, result.err
        return dict(json.loads(result.out))

    us = schedule()
    for ours, theirs in [  # NIST SP 811: 1 in = 25.4 mm, 1 lb = 0.45359237 kg, 1 psi = 6.894757 kPa
        ('"34 ft"', '"10.3632 m"'),
        ('"26 ft"', '"7.9248 m"'),
        ('"5 in"', '"127 mm"'),
        ('"3000 psi"', '"20.684272 MPa"'),
        ('"564 lb/yd3"', '"334.60969 kg/m3"'),
        ('"84 degF"', '"28.888889 degC"'),
    ]:
        assert ours in record_text
        record_text = record_text.replace(ours, theirs)
    record.write_text(record_text, encoding="utf-8")
    si = schedule()
    for one, other in zip(us["milestones"], si["milestones"], strict=True):
        assert one["kind"] == other["kind"]
        for date in ("likely", "not_before"):
            if one[date] is None:
                assert other[date] is None
                continue
            apart = datetime.fromisoformat(one[date]) - datetime.fromisoformat(other[date])
            # The record in SI is rounded to 8 digits: seconds, far below the hour that is printed.
            assert abs(apart) < timedelta(minutes=1), one["kind"]


@pytest.mark.usefixtures("stand_in_pdf", "few_members")
def test_with_two_languages_the_readers_files_name_theirs(issue: Callable[..., Path], tmp_path: Path) -> None:
    shutil.copytree(ROOT / "templates" / "en", tmp_path / "own" / "xx")  # a language of the contractor's own
    folder = issue("--language", "en,xx,en", "--templates", tmp_path / "own")
    assert {each.name for each in folder.iterdir()} == {
        "care-sheet.en.pdf", "care-page.en.html", "owner.en.ics",
        "care-sheet.xx.pdf", "care-page.xx.html", "owner.xx.ics",
        "crew.ics", "crew-sheet.pdf", "data-sheet.pdf", "schedule.json", "message.eml", "inputs",
    }  # fmt: skip
    folder = issue("--language", "xx", "--templates", tmp_path / "own")
    assert {each.name for each in folder.iterdir()} == SET | {"inputs"}, "the earlier languages are gone"


@pytest.mark.usefixtures("short_sheets", "few_members")
def test_the_owner_reads_in_the_language_of_the_record(
    issue: Callable[..., Path], record: Path, record_text: str, tmp_path: Path
) -> None:
    """Crew and office keep to English, unless another language is asked for."""
    record.write_text(record_text.replace("[owner]", SPANISH), encoding="utf-8")

    def tongues(folder: Path) -> dict[str, str]:
        letter = email.message_from_bytes((folder / "message.eml").read_bytes(), policy=email.policy.default)
        found = {"message.eml": str(letter["Content-Language"])}
        for name in ("care-sheet.pdf", "crew-sheet.pdf", "data-sheet.pdf"):
            with pikepdf.open(folder / name) as pdf:
                found[name] = str(pdf.Root.Lang)
        for name in ("owner.ics", "crew.ics"):
            text = (folder / name).read_text("utf-8")
            found[name] = "es" if "Riego" in text or "Cuadrilla" in text else "en"
        return found

    owners = {"message.eml": "es", "care-sheet.pdf": "es", "owner.ics": "es"}
    assert tongues(issue()) == owners | {
        "crew-sheet.pdf": "en",
        "data-sheet.pdf": "en",
        "crew.ics": "en",
    }
    firm = {"crew-sheet.pdf": "es", "data-sheet.pdf": "es", "crew.ics": "es"}
    assert tongues(issue("--firm-language", "es", folder=tmp_path / "firm")) == owners | firm
    english = record_text.replace("[owner]", SPANISH.replace('"es"', '"en"'))
    record.write_text(english, encoding="utf-8")
    mixed = tongues(issue("--firm-language", "es", folder=tmp_path / "mixed"))
    assert mixed == dict.fromkeys(owners, "en") | firm
    record.write_text(record_text.replace("[owner]", SPANISH), encoding="utf-8")
    assert set(tongues(issue("--language", "es", folder=tmp_path / "es")).values()) == {"es"}
    assert set(tongues(issue(*IN_ENGLISH, folder=tmp_path / "en")).values()) == {"en"}


@pytest.mark.usefixtures("stand_in_pdf", "few_members")
def test_inputs_of_one_name_are_both_kept(
    run: Run, record: Path, weather: Path, as_of: str, tmp_path: Path
) -> None:
    elsewhere = tmp_path / "weather of today"
    elsewhere.mkdir()
    hours = weather.rename(elsewhere / "job.toml")
    result = run("issue", record, "-w", hours, "-o", tmp_path / "out", "--as-of", as_of)
    assert result.status == 0, result.err
    kept = contents(tmp_path / "out" / "inputs")
    settings = json.loads(kept.pop("settings.json"))
    assert kept == {"job.toml": record.read_bytes(), "job-2.toml": hours.read_bytes()}
    assert (settings["weather"], settings["typical"]) == ("job-2.toml", None)


METHODS = (
    "sprinkler",
    "soaker hose",
    "hose by hand",
    "ponding",
    "wet burlap",
    "plastic sheet",
    "curing compound",
    "insulating blanket",
)


@pytest.mark.usefixtures("few_members")
@pytest.mark.parametrize("cooler", [0, 24], ids=["summer", "frost"])
@pytest.mark.parametrize("method", METHODS)
def test_there_are_words_for_whatever_the_schedule_says(
    record: Path,
    record_text: str,
    weather: Path,
    hourly: Callable[..., Any],
    as_of: str,
    method: str,
    cooler: int,
) -> None:
    answer = hourly()
    answer["hourly"]["temperature_2m"] = [each - cooler for each in answer["hourly"]["temperature_2m"]]
    weather.write_text(json.dumps(answer), encoding="utf-8")
    text = record_text.replace("sprinkler", method).replace('"84 degF"', f'"{84 - cooler} degF"')
    record.write_text(text.replace("garage floor", "patio" if cooler else "driveway"), encoding="utf-8")
    received = check_request(read_request(record, weather, datetime.fromisoformat(as_of)))
    schedule = compute(received, datetime.fromisoformat(as_of))
    for language in languages():
        words = Wording(received.job, schedule, language=language)
        for page in (care_sheet_html, care_page_html, crew_sheet_html, data_sheet_html):
            assert "Test slab" in page(words)
        for calendar in (owner_calendar, crew_calendar):
            assert calendar(words)


# ---- text from outside stays text


class Elements(HTMLParser):
    """Which elements and attributes a page has."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


MARKUP = "<script>alert(1)</script><img src=x onerror=alert(2)> & ATTENDEE:mailto:x@example.net"
CONTROLS = "\\u000d\\u000aATTENDEE:mailto:x@example.net \\u0007"
FIELDS = (
    *("site.name", "site.address", "owner.name"),
    *("contractor.name", "contractor.address", "mix.supplier"),
)


def with_text(record_text: str, field: str, text: str) -> str:
    """Return a record with another text in a field."""
    part, key = field.split(".")
    lines = record_text.splitlines()
    at = lines.index(f"[{part}]") + 1
    ends = next((number for number in range(at, len(lines)) if lines[number].startswith("[")), len(lines))
    others = [line for line in lines[at:ends] if not line.startswith(f"{key} = ")]
    return "\n".join([*lines[:at], f'{key} = "{text}"', *others, *lines[ends:]])


@pytest.mark.parametrize("field", FIELDS)
def test_control_characters_are_refused_by_the_name_of_the_field(
    run: Run, record: Path, weather: Path, record_text: str, as_of: str, tmp_path: Path, field: str
) -> None:
    record.write_text(with_text(record_text, field, MARKUP + CONTROLS), encoding="utf-8")
    result = run("issue", record, "-w", weather, "-o", tmp_path / "out", "--as-of", as_of)
    assert result.status == 2
    assert field in result.err
    assert not (tmp_path / "out").exists()


@pytest.mark.usefixtures("few_members")
def test_markup_is_text(
    issue: Callable[..., Path], record_text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In every field at once; of the sheets it is looked for in the pages that the PDF engine gets."""
    sheets: list[str] = []

    def note(html: str, _: object = ()) -> bytes:
        sheets.append(html)
        return b"%PDF-1.7\n% stand-in " + str(len(sheets)).encode()

    monkeypatch.setattr("handover.documents.pages.render_pdf", note)
    for field in FIELDS:
        record_text = with_text(record_text, field, MARKUP)
    folder = issue(text=record_text)
    assert len(sheets) == 3
    for page in map(Elements, (*sheets, (folder / "care-page.html").read_text(encoding="utf-8"))):
        assert "<img src=x onerror=alert(2)> & " in page.text
        assert not [each for each in page.found if "onerror" in each[1]]
        assert not [each for each in page.found if each[0] == "img" and each[1].get("src") == "x"]
        assert "alert(1)" not in "".join(str(each) for each in page.found if each[0] == "script")
    for name in ("owner.ics", "crew.ics"):
        calendar = icalendar.Calendar.from_ical((folder / name).read_bytes())
        assert not [each for each in calendar.walk() if "ATTENDEE" in each]
    message = email.message_from_bytes((folder / "message.eml").read_bytes(), policy=email.policy.default)
    assert "ATTENDEE" not in message
    assert not message.defects


# ---- a real forecast

APALACHICOLA = """\
id = "2022-02-04-bay-avenue-carport"

[site]
name = "Bay Avenue carport"
latitude = 29.73
longitude = -84.98

[owner]
name = "Lee Sample"
email = "lee@example.org"

[contractor]
name = "Example Flatwork"
phone = "555-0119"
email = "office@example.com"

[slab]
use = "driveway"
length = "24 ft"
width = "22 ft"
thickness = "5 in"

[placement]
start = 2022-02-04T07:30:00
end = 2022-02-04T09:00:00

[mix]
specified_strength = "3000 psi"
"""


@pytest.mark.usefixtures("stand_in_pdf")
def test_a_real_forecast_of_the_national_weather_service(
    run: Run, shared_weather: Path, tmp_path: Path
) -> None:
    record = tmp_path / "job.toml"
    record.write_text(APALACHICOLA, encoding="utf-8")
    forecast = shared_weather / "nws-gridpoint-2022-02-03.json"
    at = "2022-02-04T11:00:00-05:00"
    result = run("issue", record, "-w", forecast, "-o", tmp_path / "out", "--as-of", at)
    assert result.status == 0, result.err
    schedule = json.loads((tmp_path / "out" / "schedule.json").read_bytes())
    assert schedule["timezone"] == "America/New_York"
    assert "National Weather Service" in schedule["weather"]["source"]
    dates = {
        each["kind"]: datetime.fromisoformat(each["not_before"])
        for each in schedule["milestones"]
        if each["not_before"]
    }
    placed = datetime.fromisoformat("2022-02-04T09:00:00-05:00")
    # Order of the trade: it sets, it is watered, walked on, driven on. Common practice, no source.
    order = ["initial-set", "final-set", "first-water", "foot-traffic", "light-vehicles"]
    assert [kind for kind in sorted(dates, key=dates.__getitem__) if kind in order] == order
    assert dates["initial-set"] > placed
    # ACI 332: a car after a week, near 70 degF; this week is colder, so no sooner.
    assert dates["light-vehicles"] - placed >= timedelta(days=7)
    received = (tmp_path / "out" / "inputs" / forecast.name).read_bytes()
    assert received == forecast.read_bytes()
