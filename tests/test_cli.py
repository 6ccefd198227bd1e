"""The command line: what it refuses, how it says so, and that a refusal writes nothing."""

from __future__ import annotations

import json
import os
import re
import sys
import tomllib
import unicodedata
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from handover.archive.store import Archive
from handover.cli import main
from handover.cli.output import columns, open_command, table
from handover.errors import DownloadFailed
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable

    CommandResult = Any  # tests are imported by path, so the type of conftest cannot be named here
    Run = Callable[..., CommandResult]

pytestmark = pytest.mark.usefixtures("shared_schedules", "few_members")


def names(folder: Path) -> set[str]:
    return {each.name for each in folder.iterdir()}


# ---- what a person types


def test_without_a_command_it_says_what_there_is(run: Run) -> None:
    result = run()
    assert result.status == 2
    assert "COMMAND" in result.err


def test_the_version_is_reported(run: Run) -> None:
    assert run("--version").out.startswith("handover ")


def test_new_writes_a_record_with_every_required_key(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "garage.toml"
    result = run("new", file)
    assert result.status == 0
    assert "handover check" in result.out
    record = tomllib.loads(file.read_text(encoding="utf-8"))
    assert "id" in record
    assert {"thickness"} <= record["slab"].keys()
    assert {"start", "end"} <= record["placement"].keys()
    assert "specified_strength" in record["mix"]


def test_new_without_a_name(run: Run) -> None:
    result = run("new", "")
    assert result.status == 2
    assert "the name of the file to write is empty" in result.err


def test_new_in_a_folder_with_a_blank_gives_a_command_that_can_be_copied(run: Run, tmp_path: Path) -> None:
    result = run("new", tmp_path / "alder garage.toml")
    assert result.out.endswith(f"Then run: handover check '{tmp_path / 'alder garage.toml'}'\n")


@pytest.mark.parametrize(
    ("platform", "command"),
    [
        ("linux", "xdg-open 'out/alder garage/care-sheet.pdf'"),
        ("darwin", "open 'out/alder garage/care-sheet.pdf'"),
        ("win32", 'start "" "out/alder garage/care-sheet.pdf"'),
    ],
)
def test_the_command_that_opens_a_file(platform: str, command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    assert open_command("out/alder garage/care-sheet.pdf") == command


def test_new_never_overwrites(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "garage.toml"
    file.write_text("mine")
    result = run("new", file)
    assert result.status == 2
    assert "already exists" in result.err
    assert file.read_text() == "mine"


def test_new_in_a_folder_that_is_not_there(run: Run, tmp_path: Path) -> None:
    result = run("new", tmp_path / "no" / "garage.toml")
    assert result.status == 2
    assert names(tmp_path) == set()


def test_check_of_a_usable_record(run: Run, record: Path) -> None:
    result = run("check", record)
    assert (result.status, result.err) == (0, "")
    assert "can be used" in result.out
    assert "slab.exposure" in result.out, "the assumed values are printed"
    assert "slab.thickness" not in result.out


@pytest.mark.parametrize(
    "command", [("check",), ("plan", "--as-of", "2026-07-14T12:30:00-04:00")], ids=["check", "plan"]
)
def test_a_column_of_weather_that_is_not_read_is_named(
    run: Run, tmp_path: Path, command: tuple[str, ...]
) -> None:
    sample = Path(__file__).parents[1] / "sample_jobs" / "summer-garage"
    text = (sample / "weather.csv").read_text(encoding="utf-8")
    weather = tmp_path / "weather.csv"
    weather.write_text(text.replace("precipitation_probability_percent", "rain_risk"), encoding="utf-8")
    result = run(command[0], sample / "job.toml", "-w", weather, *command[1:])
    assert result.status == 0
    assert "column is not read: 'rain_risk'; expected precipitation probability" in result.err


def test_check_refuses_a_weather_file_that_is_none(run: Run, record: Path, weather: Path) -> None:
    weather.write_text("a page about rain", encoding="utf-8")
    result = run("check", record, "-w", weather)
    assert result.status == 2
    assert "is not a table" in result.err


def test_check_says_that_no_forecast_can_be_downloaded(run: Run, record: Path, record_text: str) -> None:
    """Else `plan` would be the first to say so."""
    record.write_text(record_text.replace('email = "office@example.com"\n', ""), encoding="utf-8")
    result = run("check", record)
    assert result.status == 0
    assert "contractor.email: is missing; the forecast cannot be downloaded without it" in result.err
    refused = run("plan", record)
    assert refused.status == 2
    assert "contractor.email" in refused.err


def test_check_with_weather_says_what_the_crew_does_before_it_leaves(
    run: Run, record: Path, weather: Path, as_of: str
) -> None:
    """The same lines as `plan`; without weather, none."""
    checked = run("check", record, "-w", weather, "--as-of", as_of)
    planned = run("plan", record, "-w", weather, "--as-of", as_of)
    assert checked.status == planned.status == 0
    heading = "Before the crew leaves: "
    lines = checked.out[checked.out.index(heading) :].strip()
    assert lines in planned.out
    assert heading not in run("check", record).out


def test_a_last_pass_before_first_set_is_asked_about(
    run: Run, record: Path, record_text: str, weather: Path, as_of: str
) -> None:
    """Half an hour after the last concrete: the record alone is doubtful, and so is it by the weather."""
    finished, early = "finished = 2026-07-14T12:10:00", "finished = 2026-07-14T08:35:00"
    assert finished in record_text
    record.write_text(record_text.replace(finished, early), encoding="utf-8")
    alone = run("check", record)
    assert alone.status == 0
    assert "placement.finished: is 30 min after placement.end. Is the hour right?" in alone.err
    planned = run("plan", record, "-w", weather, "--as-of", as_of)
    assert planned.status == 0
    assert "first set comes about" in planned.err
    assert "First set" not in planned.out[: planned.out.index("Watering")]


def test_only_a_command_that_writes_says_that_nothing_was_written(
    run: Run, record: Path, record_text: str, weather: Path, as_of: str, tmp_path: Path
) -> None:
    record.write_text(record_text.replace("[slab]", '[slab]\nthickness = "4"', 1), encoding="utf-8")
    errors = {
        "check": run("check", record).err,
        "plan": run("plan", record, "-w", weather, "--as-of", as_of).err,
        "issue": run("issue", record, "-w", weather, "--as-of", as_of, "-o", tmp_path / "out").err,
    }
    assert [name for name, text in errors.items() if "Nothing was written" in text] == ["issue"]
    assert all("to fix." in text for text in errors.values())


@pytest.mark.usefixtures("stand_in_pdf")
def test_check_and_issue_ask_for_the_same_of_the_readers(
    run: Run, record: Path, record_text: str, weather: Path, as_of: str, tmp_path: Path
) -> None:
    """A language without texts, a slab of no use, nobody to call: seen only when the sheet was printed."""
    lines = [each for each in record_text.splitlines() if not each.startswith(("phone =", "use ="))]
    text = "\n".join(lines)
    record.write_text(text, encoding="utf-8")
    issued = ("issue", record, "-w", weather, "--as-of", as_of, "-o", tmp_path / "out")
    for arguments in (("check", record), issued):
        result = run(*arguments)
        assert result.status == 0
        assert "contractor.phone: is missing" in result.err
        assert "slab.use: is missing" in result.err
    record.write_text(text.replace("[owner]", '[owner]\nlanguage = "tlh"'), encoding="utf-8")
    for arguments in (("check", record), issued):
        result = run(*arguments)
        assert result.status == 2
        assert 'there are no texts in the language "tlh"' in result.err


@pytest.mark.parametrize(
    ("shape", "field"), [("job", "placement"), ("schedule", "milestones"), ("starts", "starts")]
)
def test_schema_prints_a_json_schema(run: Run, shape: str, field: str) -> None:
    result = run("schema", shape)
    assert result.status == 0
    schema = json.loads(result.out)
    assert schema["type"] == "object"
    assert field in schema["properties"]


def test_plan_prints_a_table(run: Run, record: Path, weather: Path, as_of: str) -> None:
    result = run("plan", record, "-w", weather, "--as-of", as_of)
    assert result.status == 0
    assert "Test slab" in result.out
    assert "Not before" in result.out
    assert max(map(len, result.out.splitlines())) <= 100


def test_plan_as_json_is_the_whole_schedule(run: Run, record: Path, weather: Path, as_of: str) -> None:
    result = run("plan", record, "-w", weather, "--as-of", as_of, "--json")
    schedule = json.loads(result.out)
    assert result.status == 0
    assert schedule["job"] == "2026-07-14-test-slab"
    assert schedule["issued_at"] == as_of
    assert {"milestones", "watering", "risks", "cautions", "history"} <= schedule.keys()


@pytest.mark.parametrize(
    ("time", "problem"),
    [
        ("7/8/2026 12:30 PM", "several meanings"),
        ("2026-07-14 1:30", "several meanings"),
        ("2026-11-01 01:30", "occurs twice"),
        ("2026-07-14", "is not a date with a time"),
        ("tomorrow", "is not a time"),
        ("2026-02-30T12:00:00Z", "is not a time"),
        ("", "is not a time"),
    ],
)
def test_a_time_of_issue_that_is_none(
    run: Run, record: Path, weather: Path, tmp_path: Path, time: str, problem: str
) -> None:
    result = run("issue", record, "-w", weather, "-o", tmp_path / "out", "--as-of", time)
    assert result.status == 2
    assert "--as-of" in result.err
    assert problem in result.err
    assert "Example" in result.err
    assert names(tmp_path) == {record.name, weather.name}


def test_two_spellings_of_one_time_of_issue(run: Run, record: Path, weather: Path) -> None:
    result = [
        json.loads(run("plan", record, "-w", weather, "--json", "--as-of", time).out)["issued_at"]
        for time in (
            "2026-07-14T16:30:00Z",
            "2026-07-14T12:30:00-04:00",
            "2026-07-14 12:30",  # on the clock of the site
            "7/14/2026 12:30 PM",
        )
    ]
    assert len(set(result)) == 1


def test_without_a_site_a_time_of_issue_needs_its_offset(run: Run, tmp_path: Path) -> None:
    (tmp_path / "archive" / "bags").mkdir(parents=True)
    result = run("due", "--in", tmp_path / "archive", "--as-of", "2026-07-14 12:30")
    assert result.status == 2
    assert "does not say its offset from UTC" in result.err
    assert "Example:  --as-of 2026-07-14T12:30:00" in result.err


# ---- a forecast


def answered(monkeypatch: pytest.MonkeyPatch, answer: object) -> list[dict[str, Any]]:
    """Let a download give an answer or fail; return what was asked."""
    asked: list[dict[str, Any]] = []

    def give(site: object, start: object, until: object, **more: Any) -> object:
        asked.append({"site": site, "start": start, "until": until, **more})
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr("handover.weather.download.download_forecast", give)
    return asked


def test_a_forecast_is_kept_as_it_came(
    run: Run, record: Path, weather: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    came = Download(weather.read_bytes(), "open-meteo", "an address", datetime(2026, 7, 14, 16, tzinfo=UTC))
    asked = answered(monkeypatch, came)
    result = run("forecast", record, "-o", tmp_path / "kept.json")
    assert result.status == 0, result.err
    assert (tmp_path / "kept.json").read_bytes() == weather.read_bytes()
    assert "The forecast of Open-Meteo is in" in result.out
    assert asked[0]["contact"] == "office@example.com"
    assert asked[0]["start"].isoformat() == "2026-07-14T06:40:00-04:00"
    assert asked[0]["until"] > asked[0]["start"] + timedelta(days=27)
    assert run("forecast", record, "-o", tmp_path / "kept.json").status == 2
    assert len(asked) == 1, "an existing file is refused before anything is asked"


def test_past_years_go_to_a_file_that_takes_the_place_of_a_typical_year(
    run: Run, record: Path, weather: Path, as_of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The hours are invented: of eight years, each of one temperature."""
    names = {"T2M": ("C", 0.0), "RH2M": ("%", 60.0), "WS10M": ("m/s", 3.0), "CLOUD_AMT": ("%", 50.0)}
    names["ALLSKY_SFC_SW_DWN"] = ("W/m^2", 200.0)
    first = datetime(2015, 1, 1, tzinfo=UTC)
    hours = [first + timedelta(hours=hour) for hour in range(9 * 366 * 24)]
    degrees = {f"{each:%Y%m%d%H}": each.year - 2000.0 for each in hours}
    document = {
        "geometry": {"coordinates": [-80.0, 36.0, 270.0]},
        "header": {"title": "Invented", "fill_value": -999.0},
        "parameters": {name: {"units": unit} for name, (unit, _) in names.items()},
        "properties": {
            "parameter": {
                name: dict.fromkeys(degrees, value) if value else degrees
                for name, (_, value) in names.items()
            }
        },
    }
    asked: list[object] = []

    def give(_: object, **more: Any) -> object:
        asked.append(more["contact"])
        return Download(json.dumps(document).encode(), "nasa-power", "an address", more["now"])

    monkeypatch.setattr("handover.weather.download.download_past_years", give)
    years = tmp_path / "years.json"
    result = run("climate", record, "-o", years)
    assert result.status == 0, result.err
    assert asked == ["office@example.com"]
    assert f"--typical {years}" in result.out
    assert run("climate", record, "-o", years).status == 2, "an existing file is refused"
    plans = [
        json.loads(run("plan", record, "-w", weather, "--as-of", as_of, "--json", *more).out)
        for more in ([], ["--typical", years])
    ]
    assert "past years at the place" in plans[1]["weather"]["methods"][-1]
    assert plans[0]["milestones"] != plans[1]["milestones"]


@pytest.mark.usefixtures("stand_in_pdf")
def test_an_issue_downloads_its_weather_and_keeps_it(
    run: Run, record: Path, weather: Path, as_of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answered(
        monkeypatch,
        Download(weather.read_bytes(), "open-meteo", "an address", datetime(2026, 7, 14, 16, tzinfo=UTC)),
    )
    result = run("issue", record, "-o", tmp_path / "out", "--as-of", as_of)
    assert result.status == 0, result.err
    assert (tmp_path / "out" / "inputs" / "open-meteo-forecast.json").read_bytes() == weather.read_bytes()
    schedule = json.loads((tmp_path / "out" / "schedule.json").read_bytes())
    assert schedule["weather"]["issued_at"] == "2026-07-14T12:00:00-04:00"


def test_a_download_that_fails_is_no_fault_of_the_record(
    run: Run, record: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answered(monkeypatch, DownloadFailed("Open-Meteo: no answer in time (4 attempts)"))
    result = run("issue", record, "-o", tmp_path / "out")
    assert result.status == 1
    assert "no answer in time" in result.err
    assert names(tmp_path) == {record.name}


def test_the_services_receive_a_contact(
    run: Run, record: Path, record_text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = answered(monkeypatch, DownloadFailed("never asked"))
    record.write_text(record_text.replace('email = "office@example.com"', ""), encoding="utf-8")
    result = run("forecast", record, "-o", tmp_path / "kept.json")
    assert result.status == 2
    assert "contractor.email" in result.err
    assert not asked


# ---- bad input: exit 2, a message that says how to fix it, nothing written


@pytest.fixture
def refused(run: Run, tmp_path: Path, weather: Path, as_of: str) -> Callable[..., str]:
    """Give a function that issues a record that must be refused, and returns what was said."""

    def issue(record: str | bytes, weather_file: Path = weather) -> str:
        file = tmp_path / "job.toml"
        file.write_bytes(record if isinstance(record, bytes) else record.encode())
        before = names(tmp_path)
        result = run("issue", file, "-w", weather_file, "-o", tmp_path / "new" / "out", "--as-of", as_of)
        assert result.status == 2, result.err
        assert result.out == ""
        assert "Nothing was written" in result.err
        assert names(tmp_path) == before
        return str(result.err)

    return issue


WRONG = {
    "slab.thickness": [
        ('thickness = "5 in"', "thickness = 4"),
        ('thickness = "5 in"', 'thickness = "1 in"'),
        ('thickness = "5 in"', 'thickness = "30 in"'),
        ('thickness = "5 in"', 'thickness = "5 psi"'),
        ('thickness = "5 in"', ""),
    ],
    "slab.thicknes": [('thickness = "5 in"', 'thickness = "5 in"\nthicknes = "5 in"')],
    "mix.specified_strength": [
        ('"3000 psi"', '"300 psi"'),
        ('"3000 psi"', '"90 MPa"'),
        ('"3000 psi"', "3000"),
        ('specified_strength = "3000 psi"', ""),
    ],
    "mix.water_cementitious": [("= 0.50", "= 0.2"), ("= 0.50", "= 0.9"), ("= 0.50", '= "wet"')],
    "mix.cement": [('cement = "I"', 'cement = "IX"')],
    "placement.concrete_temperature": [('"84 degF"', '"20 degF"'), ('"84 degF"', '"120 degF"')],
    "placement.end": [
        ("end = 2026-07-14T08:05:00", "end = 2026-07-14T06:05:00"),
        ("end = 2026-07-14T08:05:00", "end = 2026-07-14T22:05:00"),
        ("end = 2026-07-14T08:05:00", 'end = "soon"'),
        ("end = 2026-07-14T08:05:00", ""),
    ],
    "site.latitude": [("latitude = 36.10", "latitude = 136.10"), ("latitude = 36.10", 'latitude = "north"')],
    "site.longitude": [("longitude = -79.95", "longitude = -279.95")],
    "site.timezone": [("America/New_York", "America/Atlantis")],
    "curing.method": [('"sprinkler"', '"prayer"')],
    "id": [
        ('id = "2026-07-14-test-slab"', 'id = "../../etc/cron.d/x"'),
        ('id = "2026-07-14-test-slab"', 'id = "/tmp/x"'),
        ('id = "2026-07-14-test-slab"', 'id = ".."'),
        ('id = "2026-07-14-test-slab"', 'id = ""'),
        ('id = "2026-07-14-test-slab"', 'id = "a\\u0000b"'),
        ('id = "2026-07-14-test-slab"', "id = 7"),
    ],
}


@pytest.mark.parametrize(
    ("field", "right", "wrong"),
    [(field, right, wrong) for field, pairs in WRONG.items() for right, wrong in pairs],
)
def test_a_wrong_field_is_named_with_its_line(
    refused: Callable[..., str], record_text: str, field: str, right: str, wrong: str
) -> None:
    assert record_text.count(right) == 1
    changed = record_text.replace(right, wrong)
    said = refused(changed)
    assert field in said
    if wrong:
        line = changed[: changed.index(wrong)].count("\n") + 1 + wrong.count("\n")
        assert f"job.toml:{line}" in said


def test_the_advice_for_a_thickness_without_a_unit(refused: Callable[..., str], record_text: str) -> None:
    said = refused(record_text.replace('thickness = "5 in"', "thickness = 4"))
    assert '"4 in"' in said
    assert "1 fault to fix" in said


def test_five_mistakes_are_five_findings(refused: Callable[..., str], record_text: str) -> None:
    for right, wrong in [
        ('thickness = "5 in"', "thickness = 4"),
        ('"3000 psi"', '"90 MPa"'),
        ("= 0.50", "= 0.9"),
        ("America/New_York", "America/Atlantis"),
        ('"sprinkler"', '"prayer"'),
    ]:
        record_text = record_text.replace(right, wrong)
    said = refused(record_text)
    assert "5 faults to fix" in said
    for field in ("slab.thickness", "mix.specified_strength", "mix.water_cementitious", "site.timezone"):
        assert field in said


@pytest.mark.parametrize(
    "content",
    [b"id = ", b"<html>", bytes(range(256)) * 8, b"\xff\xfe\x00", b"", b"\x00" * 4096, b"[" * 100_000],
    ids=["half a line", "a page", "binary", "a mark of UTF-16", "empty", "zeros", "deep"],
)
def test_a_record_that_is_none(refused: Callable[..., str], content: bytes) -> None:
    assert "job.toml" in refused(content)


def test_a_file_that_is_missing_or_a_folder(run: Run, record: Path, weather: Path, tmp_path: Path) -> None:
    before = names(tmp_path)
    for job, hours in ((tmp_path / "no.toml", weather), (tmp_path, weather), (record, tmp_path / "no.json")):
        result = run("issue", job, "-w", hours, "-o", tmp_path / "out")
        assert result.status == 2, result.err
        assert str(tmp_path) in result.err
    assert names(tmp_path) == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(run: Run, record: Path) -> None:
    record.chmod(0)
    assert run("check", record).status == 2


def test_a_file_of_200_megabytes(run: Run, record: Path, weather: Path, tmp_path: Path) -> None:
    huge = tmp_path / "huge"
    with huge.open("wb") as file:
        file.truncate(200_000_000)
    for job, hours in ((huge, weather), (record, huge)):
        result = run("issue", job, "-w", hours, "-o", tmp_path / "out")
        assert result.status == 2, result.err
        assert "huge" in result.err
    assert not (tmp_path / "out").exists()


# ---- weather that does not fit


def test_weather_of_another_place(
    refused: Callable[..., str], record_text: str, hourly: Callable[..., object], tmp_path: Path
) -> None:
    far = tmp_path / "far.json"
    far.write_text(json.dumps(hourly(latitude=36.8)))  # 0.7 degrees of latitude: 78 km
    assert "km" in refused(record_text, far)


def test_weather_near_enough(
    run: Run, record: Path, hourly: Callable[..., object], tmp_path: Path, as_of: str
) -> None:
    near = tmp_path / "near.json"
    near.write_text(json.dumps(hourly(latitude=36.4)))  # 0.3 degrees of latitude: 33 km
    assert run("plan", record, "-w", near, "--as-of", as_of).status == 0


@pytest.mark.parametrize("first", ["2025-07-14T00:00", "2026-08-14T00:00", "2026-07-15T00:00"])
def test_weather_of_another_time(
    refused: Callable[..., str],
    record_text: str,
    hourly: Callable[..., object],
    tmp_path: Path,
    first: str,
) -> None:
    late = tmp_path / "late.json"
    late.write_text(json.dumps(hourly(first)))
    assert "late.json" in refused(record_text, late)


@pytest.mark.parametrize(
    "content",
    [
        b'{"error": true, "reason": "Daily API request limit exceeded."}',
        b'{"title": "Unexpected Problem", "status": 500, "detail": "An unexpected problem has occurred."}',
        b"{}",
        b"[]",
        b"null",
        b"{",
        b"",
        bytes(range(256)) * 64,
        b"<html><body>Service Unavailable</body></html>",
    ],
)
def test_a_weather_file_that_is_none(
    refused: Callable[..., str], record_text: str, tmp_path: Path, content: bytes
) -> None:
    file = tmp_path / "bad.json"
    file.write_bytes(content)
    assert "bad.json" in refused(record_text, file)


def test_what_a_service_said_is_passed_on(
    refused: Callable[..., str], record_text: str, tmp_path: Path
) -> None:
    file = tmp_path / "bad.json"
    file.write_text('{"error": true, "reason": "Daily API request limit exceeded."}')
    assert "Daily API request limit exceeded" in refused(record_text, file)


def test_faults_of_record_and_weather_are_reported_together(
    refused: Callable[..., str], record_text: str, tmp_path: Path
) -> None:
    file = tmp_path / "bad.json"
    file.write_bytes(b"{}")
    said = refused(record_text.replace('thickness = "5 in"', "thickness = 4"), file)
    assert "slab.thickness" in said
    assert "bad.json" in said


def test_weather_is_not_compared_with_the_climate_of_a_place_that_is_not_known(
    refused: Callable[..., str], record_text: str, tmp_path: Path
) -> None:
    """Seen: one fault in a record from Nebraska, and "78 degF is usual at the site" in November."""
    sample = Path(__file__).parents[1] / "sample_jobs" / "summer-garage" / "weather.csv"
    text = sample.read_text(encoding="utf-8").replace("air_temperature_c", "air_temperature_f")
    frost = tmp_path / "frost.csv"
    frost.write_text(re.sub(r"(?m)^(\d{4}-[^,]+),[-\d.]+", r"\1,25", text), encoding="utf-8")
    said = refused(record_text.replace('thickness = "5 in"', "thickness = 4"), frost)
    assert "usual at the site" not in said


# ---- the rest of the promise


def test_a_language_that_is_not_there_lists_those_that_are(
    run: Run, record: Path, weather: Path, tmp_path: Path, as_of: str
) -> None:
    out = tmp_path / "out"
    result = run("issue", record, "-w", weather, "-o", out, "--as-of", as_of, "--language", "en,tlh")
    assert result.status == 2
    assert "tlh" in result.err
    assert "en" in result.err.split("Expected", 1)[1]
    assert not out.exists()


def test_control_characters_reach_no_terminal(run: Run, record: Path, record_text: str) -> None:
    record.write_text(record_text.replace('"sprinkler"', '"\\u001b[31mred\\u0007"'))
    result = run("check", record)
    assert result.status == 2
    assert "\x1b" not in result.err
    assert "\x07" not in result.err


def test_a_fault_of_the_program_is_said_to_be_one(
    run: Run, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object) -> None:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr("handover.service.inputs.read_record", break_down)
    result = run("check", record)
    assert result.status == 1
    assert "ZeroDivisionError" in result.err
    with pytest.raises(ZeroDivisionError):
        main(["--trace", "check", str(record)])


def test_stopping_by_hand(run: Run, record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("handover.service.inputs.read_record", stop)
    result = run("check", record)
    assert (result.status, result.out) == (1, "")
    assert "Nothing half-written is left" in result.err


def test_a_surer_date_is_never_earlier(run: Run, record: Path, weather: Path, as_of: str) -> None:
    """The share of cases that a date is late enough for is a setting."""
    asked = ("plan", str(record), "-w", str(weather), "--as-of", as_of, "--json")
    usual, surer = (json.loads(run(*asked, *more).out) for more in ((), ("--sure", "98")))
    for before, after in zip(usual["milestones"], surer["milestones"], strict=True):
        if before["kind"] != "saw-joints":  # the share of the cases that allow the hour
            assert after["confidence"] >= 0.98
            assert 0.90 <= before["confidence"] < after["confidence"]
        if after["not_before"] is not None:
            assert after["not_before"] >= before["not_before"]
            assert after["likely"] == before["likely"]


@pytest.mark.parametrize("share", ["200", "59", "100", "-1", "many", ""])
def test_a_share_that_is_none(run: Run, record: Path, share: str) -> None:
    result = run("plan", record, f"--sure={share}")
    assert result.status == 2
    assert "60 to 99" in result.err.splitlines()[-1]
    assert "61" not in result.err


def test_two_columns_never_touch() -> None:
    for left in ("Jul 14", "x" * 24, "x" * 25, "x" * 26, "past the reach of the estimate"):
        [line] = columns([(left, "Light work")])
        assert line.startswith(f"  {left}  ")
        assert line.endswith("  Light work")


def test_one_long_entry_moves_the_whole_column() -> None:
    lines = [*columns([("Jul 14", "Light work"), ("past the reach of the estimate", "Trucks")])]
    assert lines[0].index("Light") == lines[1].index("Trucks")


HOSTILE = "[red]a[/red] :smile: \x1b[31m\x9b31m\u202e\u2066\u200b\a"
HARMLESS = "[red]a[/red] :smile: \\x1b[31m\\x9b31m\\x202e\\x2066\\x200b\\x07"


@pytest.mark.parametrize("least", [9, 26])
def test_text_from_outside_is_shown_and_not_obeyed(monkeypatch: pytest.MonkeyPatch, least: int) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    [line] = columns([("From", HOSTILE)], least)
    assert line.split("From", 1)[1].strip() == HARMLESS
    [heads, row] = table(("Owner", "[bold]Job"), [(HOSTILE, "a-b")])
    assert heads.split() == ["Owner", "[bold]Job"]
    assert row.split("  ") == [HARMLESS, "a-b"]


@pytest.mark.parametrize(
    "surroundings", [{"FORCE_COLOR": "1"}, {"TTY_COMPATIBLE": "1"}, {"TERM": "xterm-256color"}]
)
def test_a_table_has_no_colours_whatever_is_asked_for(
    monkeypatch: pytest.MonkeyPatch, surroundings: dict[str, str]
) -> None:
    for name, value in surroundings.items():
        monkeypatch.setenv(name, value)
    assert [*table(("Job", "Street"), [("a", "5 Lane")])] == ["Job  Street", "a    5 Lane"]


@pytest.mark.parametrize("width", [40, 60, 100])
def test_signs_of_two_columns_are_counted_as_two(monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    """Unicode Standard Annex 11: a wide sign takes two columns of a terminal."""
    monkeypatch.setenv("COLUMNS", str(width))
    rows = [("\u6625" * 30, "Ana"), ("a", "Prueba")]
    for lines in ([*table(("Street", "Owner"), rows)], [*columns(rows)]):
        wide = [sum(2 if unicodedata.east_asian_width(each) == "W" else 1 for each in line) for line in lines]
        assert max(wide) <= width
        assert "".join(lines).count("\u6625") == 30


def test_a_word_is_broken_only_where_nothing_else_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    mail = "a.long.name@example.org"
    rows = [("2026-07-14-a-slab", mail, "some words of a street that is long", "and more words of a note")]
    assert mail in "\n".join(table(("Job", "Mail", "Street", "Note"), rows))


def test_a_table_of_nothing_has_its_heads() -> None:
    assert [*table(("Job", "Street"), [])] == ["Job  Street"]
    assert [*table(("Job", "Street"), [("", "")])] == ["Job  Street", ""]


def test_a_typical_year_that_is_none(run: Run, record: Path, weather: Path, as_of: str) -> None:
    said = run("plan", str(record), "-w", str(weather), "--as-of", as_of, "--typical", str(weather))
    assert said.status == 2
    assert "typical year" in said.err


# ---- extreme options

LAST, FIRST = "9999-12-31T23:59:59-12:00", "0001-01-01T00:00:00+14:00"


@pytest.mark.parametrize(
    "command",
    [
        *(
            (name, "JOB", "-w", "WEATHER", "--as-of", when)
            for name in ("check", "plan", "issue", "starts")
            for when in (LAST, FIRST)
        ),
        ("starts", "JOB", "-w", "WEATHER", "--as-of", "NOW", "--until", "9999-12-31"),
        ("starts", "JOB", "-w", "WEATHER", "--as-of", "NOW", "--from", "0001-01-01"),
        ("starts", "JOB", "-w", "WEATHER", "--as-of", "NOW", "--from", "0001-01-01", "--until", "9999-12-31"),
        ("starts", "JOB", "-w", "WEATHER", "--as-of", "NOW", "--from", "9999-12-31T23:00"),
        ("starts", "JOB", "-w", "WEATHER", "--as-of", "NOW", "--from", "1990-01-01", "--until", "2100-12-31"),
        ("starts", "JOB", "-w", "WEATHER", "--as-of", "NOW", "--crew-hours", "1e300"),
        ("find", "alder", "--in", "ARCHIVE", "--as-of", LAST),
        ("find", "alder", "--in", "ARCHIVE", "--catalog", "postgresql://[::1"),
    ],
    ids=" ".join,
)
def test_extreme_options_are_one_finding(
    run: Any, record: Path, weather: Path, as_of: str, tmp_path: Path, command: tuple[str, ...]
) -> None:
    archive = tmp_path / "archive"
    Archive(archive).bags.mkdir(parents=True)
    named = {"JOB": record, "WEATHER": weather, "NOW": as_of, "ARCHIVE": archive}
    output = ("-o", tmp_path / "out") if command[0] == "issue" else ()
    result = run(*(named.get(each, each) for each in command), *output)
    assert result.status == 2
    assert "1 fault to fix" in result.err
    assert "is not an archive" not in result.err
    assert "Traceback" not in result.err
    assert not (tmp_path / "out").exists()


def test_a_limit_that_no_list_reaches_is_none(run: Any, tmp_path: Path) -> None:
    Archive(tmp_path).bags.mkdir()
    assert run("reindex", tmp_path).status == 0
    result = run("find", "alder", "--in", tmp_path, "--limit", "9" * 30)
    assert (result.status, result.err) == (0, "")
