"""The owner's word that slab and sheet were handed over, typed in place of a signature."""

from collections.abc import Callable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from handover.jobs.reading import ExaminedRecord

Examine = Callable[..., ExaminedRecord]

WORD = {"name": "Lee Park", "time": "2026-07-14 14:20", "remarks": "All clear.\nThe crew mends the edge."}


def test_a_record_without_it_is_as_good(spoil: Examine) -> None:
    examined = spoil({})
    assert examined.findings == ()
    assert examined.record.acknowledgement is None


def test_it_is_read_at_the_clock_of_the_site(spoil: Examine) -> None:
    examined = spoil({"acknowledgement": WORD})
    assert examined.findings == ()
    result = examined.record.acknowledgement
    assert (result.name, result.remarks) == (WORD["name"], WORD["remarks"])
    assert result.time == datetime(2026, 7, 14, 14, 20, tzinfo=ZoneInfo("America/New_York"))


@pytest.mark.parametrize(
    ("change", "field", "word"),
    [
        ({"name": None}, "acknowledgement.name", "missing"),
        ({"time": None}, "acknowledgement.time", "missing"),
        ({"name": " "}, "acknowledgement.name", "empty"),
        ({"time": "2026-07-14"}, "acknowledgement.time", "no time of day"),
        ({"time": "2026-07-14 07:00"}, "acknowledgement.time", "before placement.end"),
        ({"name": "Lee\nPark"}, "acknowledgement.name", "several lines"),
        ({"signature": "x"}, "acknowledgement.signature", "not a key"),
    ],
)
def test_a_word_that_is_none_is_a_fault(
    spoil: Examine, change: dict[str, Any], field: str, word: str
) -> None:
    result = {key: value for key, value in (WORD | change).items() if value is not None}
    examined = spoil({"acknowledgement": result})
    assert examined.record is None
    (finding,) = examined.findings
    assert finding.field == field
    assert word in finding.problem
    assert finding.expected
    assert finding.example
