"""What is assumed for a record is listed in the units of its reader, and with it the room."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.service.assumptions import assumed_values
from handover.service.inputs import read_record

if TYPE_CHECKING:
    from pathlib import Path


def values(file: Path, units: str | None = None) -> dict[str, str]:
    job, _ = read_record(file)
    return {each.field: each.value for each in assumed_values(job, units)}  # type: ignore[arg-type]


def test_assumed_values_are_in_the_units_of_the_record(record: Path) -> None:
    """NIST SP 811: 564 lb/yd3 is 334.6 kg/m3, 0.4 in is 10.16 mm."""
    us, si = values(record), values(record, "si")
    assert us["curing.application_rate"] == "0.4 in/h"
    assert si["curing.application_rate"] == "10.16 mm/h"
    assert us["mix.fly_ash"] == "none"


def test_the_air_of_a_heated_room_is_listed_where_the_record_does_not_state_it(
    record: Path, record_text: str
) -> None:
    """A heated room of which no more is known counts as 50 degF at its cold end."""
    assert "site.room_temperature" not in values(record)
    heated = record_text.replace("[site]\n", "[site]\nroom_heated = true\n")
    heated = heated.replace("[slab]\n", '[slab]\nexposure = "indoors"\n')
    record.write_text(heated, encoding="utf-8")
    assert values(record)["site.room_temperature"].startswith("50 °F to ")
    stated = heated.replace("room_heated = true", 'room_temperature = "60 degF"')
    record.write_text(stated, encoding="utf-8")
    assert "site.room_temperature" not in values(record)
