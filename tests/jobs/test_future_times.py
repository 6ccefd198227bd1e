"""What was measured later than the time of issue has not been measured."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from handover.errors import UnusableInput
from handover.jobs.future_times import find_future_times
from handover.service.issuing import check_request, read_request

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.errors import Finding
    from handover.jobs.reading import ExaminedRecord

    Examine = Callable[..., ExaminedRecord]

AS_OF = datetime(2026, 7, 15, 8, tzinfo=ZoneInfo("America/New_York"))


def found(examine: Examine, text: str, as_of: datetime = AS_OF) -> tuple[Finding, ...]:
    examined = examine(text)
    assert examined.record is not None, examined.findings
    return find_future_times(examined.record, examined.source, as_of)


@pytest.mark.parametrize(
    ("table", "field"),
    [
        ('[[cylinder]]\ntested = "2027-07-21 09:00"\nstrength = "9000 psi"', "cylinder[1].tested"),
        ('[[cylinder]]\nage = "7 d"\nstrength = "2400 psi"', "cylinder[1].age"),
        ('[[ticket]]\nbatched = "2026-07-14 05:50"', None),
        ('[[cylinder]]\nage = "24 h"\nstrength = "900 psi"', None),
        ('[[scratch]]\ntime = "2026-07-15 09:00"\nmarks = true', "scratch[1].time"),
        ('[[scratch]]\ntime = "2026-07-14 15:00"\nmarks = true', None),
        ('[[infrared]]\ntime = "2026-07-15 09:00"\ntemperature = "80 degF"', "infrared[1].time"),
    ],
)
def test_what_is_still_to_come_is_a_fault(examine: Examine, good: str, table: str, field: str | None) -> None:
    """A cylinder of a day may be broken a little before its day is full."""
    findings = found(examine, f"{good}\n{table}\n")
    assert [each.field for each in findings] == ([field] if field else [])
    for each in findings:
        assert (each.severity, Path(str(each.file)).name, each.line) == (
            "fault",
            "job.toml",
            good.count("\n") + 3,
        )
        assert "2026-07-15 08:00" in str(each.expected)
        assert each.example


def test_a_truck_of_after_the_issue_is_a_fault(examine: Examine, good: str) -> None:
    text = f'{good}\n[[ticket]]\nbatched = "2026-07-14 05:50"\n'
    findings = found(examine, text, AS_OF - timedelta(hours=27))
    assert [each.field for each in findings if each.severity == "fault"] == ["ticket[1].batched"]


@pytest.mark.parametrize(("minutes", "is_plan"), [(-1, True), (0, False)])
def test_a_last_pass_to_come_is_a_plan_and_said_to_be_one(
    examine: Examine, good: str, minutes: int, is_plan: bool
) -> None:
    text = good.replace(
        "end = 2026-07-14T07:25:00", "end = 2026-07-14T07:25:00\nfinished = 2026-07-14T11:20:00"
    )
    done = datetime(2026, 7, 14, 11, 20, tzinfo=AS_OF.tzinfo)
    findings = found(examine, text, done + timedelta(minutes=minutes))
    assert [(each.field, each.severity) for each in findings] == [("placement.finished", "caution")] * is_plan


def test_a_reading_of_after_the_issue_is_a_fault(examine: Examine, good: str, tmp_path: Path) -> None:
    hours = [datetime(2026, 7, 14, 8, tzinfo=AS_OF.tzinfo) + timedelta(hours=n) for n in range(30)]
    lines = "\n".join(f"{each:%Y-%m-%d %H:%M},{25 + n % 3}" for n, each in enumerate(hours))
    (tmp_path / "logger.csv").write_text(f"time_local,temperature (C)\n{lines}\n")
    text = f'{good}\n[temperature_log]\nfile = "logger.csv"\n'
    (fault,) = found(examine, text)
    assert fault.field == "temperature_log.file"
    assert "2026-07-15 13:00" in fault.problem
    assert found(examine, text, AS_OF + timedelta(hours=6)) == ()


def test_the_issue_refuses_it(
    record_text: str, hourly: Callable[..., dict[str, object]], tmp_path: Path
) -> None:
    (tmp_path / "job.toml").write_text(
        f'{record_text}\n[[cylinder]]\ntested = "2027-07-21 09:00"\nstrength = "9000 psi"\n'
    )
    (tmp_path / "weather.json").write_text(json.dumps(hourly()))
    with pytest.raises(UnusableInput) as refused:
        check_request(read_request(tmp_path / "job.toml", tmp_path / "weather.json", AS_OF))
    assert "cylinder[1].tested" in {each.field for each in refused.value.findings}
