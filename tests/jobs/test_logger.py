"""A logger's file: what is read, in which units and zone; impossible readings are left out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handover.jobs.attached_files import FolderFiles
from handover.jobs.logger import MAX_LOG_BYTES, examine_log

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.errors import Finding
    from handover.jobs.record import LogReading

    Examine = Callable[..., tuple[tuple[LogReading, ...], list[Finding]]]

ZONE = ZoneInfo("America/New_York")
PLACED = datetime(2026, 7, 14, 6, 10, tzinfo=ZONE)
START = datetime(2026, 7, 14, 10, 30, tzinfo=UTC)


@pytest.fixture
def read(tmp_path: Path) -> Examine:
    """Examine a text, or bytes, as a logger's file."""

    def read(content: str | bytes) -> tuple[tuple[LogReading, ...], list[Finding]]:
        path = tmp_path / "logger.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return examine_log(FolderFiles(path.parent), "logger.csv", ZONE, PLACED)

    return read


def table(celsius: list[float], *, minutes: int = 60, start: datetime = START) -> str:
    rows = [
        f"{start + timedelta(minutes=minutes * at):%Y-%m-%dT%H:%M},{value}"
        for at, value in enumerate(celsius)
    ]
    return "\n".join(["time_utc,temperature_c", *rows, ""])


def day(readings: int, *, minutes: int = 60) -> list[float]:
    """A slab that warms by 1.2 K an hour: nothing to doubt."""
    return [round(25 + 0.02 * minutes * at, 3) for at in range(readings)]


def test_a_plain_log_is_taken_as_it_is(read: Examine) -> None:
    readings, findings = read(table(day(24)))
    assert findings == []
    assert [each.temperature for each in readings] == day(24)
    assert readings[0].time == START
    assert str(readings[0].time.tzinfo) == "America/New_York"


@pytest.mark.parametrize(
    ("heading", "first"),
    [
        ("time_utc,temperature_c", "2026-07-14T10:30,25.0"),
        ("Time (UTC);Concrete temp [degF]", "2026-07-14 10:30;77,0"),
        ("time,slab_temperature_f", "2026-07-14T06:30:00-04:00,77"),
        ("time_local\ttemperature [K]", "2026-07-14T06:30\t298.15"),
        ("# logger 7\n\ntimestamp_utc,battery_v,temp (°C),air_temperature_c", "2026-07-14T10:30Z,3.1,25,19"),
    ],
)
def test_units_clocks_and_delimiters_give_the_same(read: Examine, heading: str, first: str) -> None:
    """25 degC is 77 degF and 298.15 K by definition; New York in July is four hours behind UTC."""
    readings, findings = read(f"{heading}\n{first}\n")
    assert findings == []
    assert readings[0].temperature == pytest.approx(25.0, abs=1e-9)
    assert readings[0].time == START


def test_rows_in_any_order_give_the_same(read: Examine) -> None:
    lines = table(day(24)).splitlines()
    assert read("\n".join([lines[0], *reversed(lines[1:])])) == read(table(day(24)))


def test_readings_within_the_hour_become_their_mean(read: Examine) -> None:
    readings, _ = read(table([20, 21, 22, 23, 24, 25], minutes=10))  # 10:30 to 11:20 UTC
    assert [(each.time, each.temperature) for each in readings] == [
        (datetime(2026, 7, 14, 10, 40, tzinfo=UTC), 21.0),
        (datetime(2026, 7, 14, 11, 10, tzinfo=UTC), 24.0),
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "empty"),
        ("time_utc\n2026-07-14T10:30\n", "no column of concrete temperature"),
        ("time_utc,air_temperature_c\n2026-07-14T10:30,25\n", "no column of concrete temperature"),
        ("time_utc,temp_c,probe_2_c\n2026-07-14T10:30,25,26\n", "2 columns of concrete temperature"),
        ("hour,temperature_c\n1,25\n", "no column of times"),
        ("time_utc,temperature\n2026-07-14T10:30,25\n", "has no known unit"),
        ("time,temperature_c\n2026-11-01 01:30,25\n", "occurs twice at the site"),
        ("time,temperature_c\n7/8/2026 10:30,25\n", "may be day first or month first"),
        ("time_utc,temperature_c\nhalf past ten,25\n", "is not a time"),
        ("time_utc,temperature_c\n2026-07-14T10:30,warm\n", "not a number"),
        ("time_local,temperature_c\n2026-11-01T01:30,25\n", "occurs twice at the site"),
        ("time_local,temperature_c\n2026-03-08T02:30,25\n", "does not exist at the site"),
        ("# nothing else\n", "no line of column names"),
    ],
)
def test_what_cannot_be_read_is_a_fault_that_names_it(read: Examine, text: str, expected: str) -> None:
    readings, findings = read(text)
    assert readings == ()
    assert [each.severity for each in findings] == ["fault"]
    assert expected in findings[0].problem
    assert findings[0].file == "logger.csv"
    assert findings[0].expected


def test_all_wrong_lines_are_reported_at_once_up_to_a_few(read: Examine) -> None:
    _, findings = read("time_utc,temperature_c\n" + "2026-07-14T10:30,x\n" * 3)
    assert [each.line for each in findings] == [2, 3, 4]
    _, findings = read("time_utc,temperature_c\n" + "2026-07-14T10:30,x\n" * 300)
    assert len(findings) == 11
    assert "290 more" in findings[-1].problem


def test_rubbish_and_a_huge_file_are_faults(read: Examine) -> None:
    assert "binary" in read(b"PK\x03\x04\x00\x00")[1][0].problem
    assert "at most" in read(b"x" * (MAX_LOG_BYTES + 1))[1][0].problem


@pytest.mark.parametrize(
    "text", ["time_utc,temperature_c\n", table(day(3), start=START - timedelta(hours=9))]
)
def test_a_log_without_a_reading_in_the_concrete_stops_nothing(read: Examine, text: str) -> None:
    readings, findings = read(text)
    assert readings == ()
    assert {each.severity for each in findings} == {"caution"}
    assert "leaves it out" in findings[-1].problem


def cautioned(read: Examine, celsius: list[float], **how: object) -> tuple[list[float], str]:
    """Return what is left of the readings, and the one caution."""
    readings, findings = read(table(celsius, **how))  # type: ignore[arg-type]
    assert [each.severity for each in findings] == ["caution"]
    return [each.temperature for each in readings], findings[0].problem


def test_readings_from_the_truck_are_left_out(read: Examine) -> None:
    left, problems = cautioned(read, day(26), start=START - timedelta(hours=2))
    assert left == day(26)[2:]
    assert "2 readings" in problems
    assert "before the placement" in problems


def test_a_spike_is_left_out_and_named(read: Examine) -> None:
    series = day(48, minutes=10)
    series[20] += 15.0
    left, problems = cautioned(read, series, minutes=10)
    assert max(left) <= max(day(48, minutes=10))
    assert "2026-07-14 09:50" in problems  # 10:30 UTC and 200 minutes, on New York's clock


@pytest.mark.parametrize("minutes", [1, 10, 30, 60])
def test_a_spike_is_seen_however_often_the_logger_reads(read: Examine, minutes: int) -> None:
    """Common practice, no source: 20 K within the hour and back again is no slab."""
    plain = day(48, minutes=minutes)
    for spike in (20.0, -20.0):
        series = [*plain[:20], round(plain[20] + spike, 3), *plain[21:]]
        readings, findings = read(table(series, minutes=minutes))
        assert "1 reading left out" in findings[0].problem
        assert "jump" in findings[0].problem
        assert all(min(plain) <= each.temperature <= max(plain) for each in readings)


def test_a_logger_that_was_pulled_is_believed_up_to_then(read: Examine) -> None:
    series = [*day(72, minutes=10), *[12.0 + 0.01 * at for at in range(30)]]
    left, problems = cautioned(read, series, minutes=10)
    assert min(left) >= 25.0
    assert "30 readings" in problems


def test_a_slab_that_warms_fast_is_believed(read: Examine) -> None:
    """Common practice, no source: 5 K an hour is a hot slab."""
    readings, findings = read(table([20 + 5 * at for at in range(7)]))
    assert findings == []
    assert len(readings) == 7


def test_a_stuck_sensor_is_left_out(read: Examine) -> None:
    left, problems = cautioned(read, [*day(10), *[37.0] * 20])
    assert left == day(10)
    assert "do not change" in problems


def test_a_gap_is_named(read: Examine) -> None:
    lines = table(day(24)).splitlines()
    readings, findings = read("\n".join(lines[:10] + lines[15:]))
    assert len(readings) == 19
    assert "gaps of over an hour" in findings[0].problem
    assert "2026-07-14 14:30 to 2026-07-14 20:30" in findings[0].problem


def test_what_concrete_cannot_be_is_left_out(read: Examine) -> None:
    left, problems = cautioned(read, [*day(12, minutes=30), -127.0, *day(24, minutes=30)[13:]], minutes=30)
    assert min(left) > 20.0
    assert "outside of -30 to 90 degC" in problems


def test_a_log_in_another_unit_than_it_says_is_a_fault(read: Examine) -> None:
    _, findings = read(table([95.0 + at for at in range(12)]))
    assert [each.severity for each in findings] == ["fault"]
    assert "unit" in str(findings[0].expected)


_HEADINGS = ("time_utc", "time", "temperature_c", "temp [degF]", "air_c")
_VALUES = ("2026-07-14T10:30", "2026-07-14T11:00Z", "25", "-127", "1e9", "nan", "½", "0001-01-01")
_SIGNS = ("", "\n", "\n", "#", '"', ";", "\t", "9999-12-31T23:59+23:59", "\x00")
_CELLS = st.sampled_from((*_HEADINGS, *_VALUES, *_SIGNS))


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    max_examples=150,
    deadline=None,
)
@given(st.lists(_CELLS, max_size=40).map(",".join) | st.binary(max_size=200))
def test_any_file_ends_in_readings_or_findings(read: Examine, content: str | bytes) -> None:
    readings, findings = read(content)
    assert readings or findings
    assert all(each.file == "logger.csv" for each in findings)
    assert all(-30.0 <= each.temperature <= 90.0 and each.time >= PLACED for each in readings)


@pytest.mark.parametrize("written", ["2026-07-14 06:30", "7/14/2026 6:30 AM", "14.07.2026 06:30"])
def test_times_without_an_offset_are_on_the_clock_of_the_site(read: Examine, written: str) -> None:
    """New York in July is four hours behind UTC."""
    readings, findings = read(f"time,temperature_c\n{written},25\n")
    assert readings[0].time == START
    assert [each.severity for each in findings] == ["caution"]
    assert "America/New_York" in findings[0].problem
