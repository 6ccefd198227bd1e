"""A record before its pour: without the times of the placement, and without what is measured later."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from handover.jobs.attached_files import FolderFiles
from handover.jobs.before_pour import PlannedJob, examine_before_pour
from handover.jobs.reading import RecordSource

if TYPE_CHECKING:
    from pathlib import Path

AS_OF = datetime(2026, 7, 13, 20, tzinfo=UTC)
PLAIN = """\
id = "alder"
[site]
name = "Alder Lane garage"
latitude = 36.10
longitude = -79.95
[slab]
length = "34 ft"
width = "26 ft"
thickness = "5 in"
[mix]
specified_strength = "3000 psi"
"""
PLACEMENT = "[placement]\nstart = 2026-06-02T06:40:00\nend = 2026-06-02T08:05:00\n"
MEASURED = """\
[[ticket]]
batched = 2026-06-02T06:10:00
temperature = "82 degF"
[[cylinder]]
age = "7 d"
strength = "2500 psi"
[[infrared]]
time = 2026-06-02T09:00:00
temperature = "80 degF"
[[scratch]]
time = 2026-06-02T12:00:00
marks = true
"""


def examine(text: str, folder: Path) -> PlannedJob:
    return examine_before_pour(RecordSource("job.toml", text.encode(), FolderFiles(folder)), AS_OF)


@pytest.mark.parametrize(
    "placement",
    [
        "",
        "[placement]\n",
        '[placement]\nconcrete_temperature = "75 degF"\n',
        "[placement]\nstart = 2026-07-20T06:00:00\n",
    ],
)
def test_the_times_of_the_placement_may_be_missing(placement: str, tmp_path: Path) -> None:
    planned = examine(PLAIN + placement, tmp_path)
    assert planned.examined.record is not None
    assert planned.placing is None
    temperature = planned.examined.record.placement.concrete_temperature
    assert (temperature is not None) == ("75" in placement)


def test_times_in_the_record_say_how_long_the_placing_takes(tmp_path: Path) -> None:
    planned = examine(PLAIN + PLACEMENT, tmp_path)
    assert planned.placing == timedelta(hours=1, minutes=25)


def test_measurements_are_left_out_with_a_caution(tmp_path: Path) -> None:
    planned = examine(PLAIN + PLACEMENT + MEASURED, tmp_path)
    assert planned.examined.record is not None
    assert planned.examined.record.ticket == planned.examined.record.cylinder == ()
    assert planned.examined.record.infrared == planned.examined.record.scratch == ()
    assert [each.field for each in planned.examined.findings] == ["ticket", "cylinder", "infrared", "scratch"]
    assert {each.severity for each in planned.examined.findings} == {"caution"}


def test_other_faults_are_reported_as_ever(tmp_path: Path) -> None:
    planned = examine(PLAIN.replace('thickness = "5 in"\n', ""), tmp_path)
    assert planned.examined.record is None
    assert [each.field for each in planned.examined.faults] == ["slab.thickness"]


def test_a_placement_that_is_no_table_is_a_fault(tmp_path: Path) -> None:
    planned = examine("placement = 3\n" + PLAIN, tmp_path)
    assert planned.examined.record is None
    assert planned.examined.faults


def test_what_is_no_slab_on_ground_is_refused(tmp_path: Path) -> None:
    planned = examine(PLAIN.replace("thickness", 'on = "steel deck"\nthickness'), tmp_path)
    assert planned.examined.record is None
    assert "slab.on" in {each.field for each in planned.examined.faults}
