"""Hours of presence in which no visit fits are a finding: a plan without any watering is never silent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.jobs.time_windows import holds_half_hour, widen

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.reading import ExaminedRecord

    Spoil = Callable[..., ExaminedRecord]


def clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


@pytest.mark.parametrize(
    ("windows", "problem", "example"),
    [
        (["07:10-07:25"], "no whole half hour", "07:00-07:30"),
        (["07:10-07:50"], "no whole half hour", "07:00-08:00"),
        (["23:45-24:00"], "no whole half hour", "23:30-24:00"),
        (["12:00-12:00"], "begins and ends at the same time", "12:00-12:30"),
        (["23:50-00:10"], "ends before it begins", '"23:30-24:00", "00:00-00:30"'),
        (["22:00-06:00"], "ends before it begins", '"22:00-24:00", "00:00-06:00"'),
    ],
)
def test_a_window_that_no_visit_fits_in_is_a_fault(
    spoil: Spoil, windows: list[str], problem: str, example: str
) -> None:
    examined = spoil({"curing.available": windows})
    assert examined.record is None
    [finding] = [each for each in examined.findings if (each.field or "").startswith("curing.available")]
    assert problem in finding.problem
    assert example in (finding.example or "")
    assert finding.severity == "fault"


@pytest.mark.parametrize(
    "changes",
    [
        {"curing.available": ["07:10-07:25", "17:00-21:00"]},
        {"curing.available": ["07:10-07:25"], "curing.method": "curing compound"},
    ],
)
def test_it_is_a_caution_beside_a_longer_one_and_where_nothing_is_watered(
    spoil: Spoil, changes: dict[str, Any]
) -> None:
    examined = spoil(changes)
    assert examined.record is not None
    assert [each.severity for each in examined.findings if "no visit fits" in each.problem] == ["caution"]


@given(st.integers(0, 1439), st.integers(1, 1440))
def test_a_window_without_a_finding_has_a_half_hour_of_the_clock(opens: int, closes: int) -> None:
    if opens >= closes:
        return
    fits = any(opens <= half and half + 30 <= closes for half in range(0, 1440, 30))
    assert holds_half_hour(f"{clock(opens)}-{clock(closes)}") is fits
    wider = widen(f"{clock(opens)}-{clock(closes)}")
    assert holds_half_hour(wider)
    assert wider[:5] <= clock(opens)
    assert clock(closes) <= wider[6:]
