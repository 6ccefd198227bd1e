"""What a record is written in, and what it calls its cement, is kept for its readers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from handover.service.settings import Settings
from handover.units import KINDS, system_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.jobs.reading import ExaminedRecord

METRIC = {
    "slab.length": "10.4 m",
    "slab.width": "8 m",
    "slab.thickness": "100 mm",
    "mix.specified_strength": "20 MPa",
}


@pytest.mark.parametrize(
    ("metric", "units"),
    [
        ((), "us"),
        (("slab.thickness",), "us"),
        (("slab.length", "slab.width"), "us"),
        (("slab.length", "slab.width", "slab.thickness"), "si"),
        (tuple(METRIC), "si"),
    ],
)
def test_the_reader_gets_the_units_of_most_measures(
    spoil: Callable[..., ExaminedRecord], metric: tuple[str, ...], units: str
) -> None:
    job = spoil({each: METRIC[each] for each in metric}).record
    assert job is not None
    assert job.written_in == units
    assert Settings().units_for(job) == units
    assert Settings(units="us").units_for(job) == "us"


@pytest.mark.parametrize("kind", KINDS)
def test_the_system_of_a_unit_is_that_of_our_own_examples(kind: Any) -> None:
    """The first example of each kind is in US units, the second in SI; some units are of both."""
    us, si = KINDS[kind].examples
    if KINDS[kind].out["us"] == KINDS[kind].out["si"]:
        assert system_of(us, kind) is None
    else:
        assert (system_of(us, kind), system_of(si, kind)) == ("us", "si")


@pytest.mark.parametrize(("ordered", "reckoned"), [("GU", "I"), ("I/II", "II"), ("Type  III", "III")])
def test_the_cement_is_called_as_it_was_ordered(
    spoil: Callable[..., ExaminedRecord], ordered: str, reckoned: str
) -> None:
    job = spoil({"mix.cement": ordered}).record
    assert job is not None
    assert (job.mix.cement, job.mix.cement_ordered) == (reckoned, " ".join(ordered.split()))


@pytest.mark.usefixtures("few_members")
def test_a_plan_is_printed_in_the_units_of_its_record(run: Callable[..., Any], samples: Path) -> None:
    """The sample of a driveway is written in metres and MPa."""
    job = samples / "driveway-compound"
    asked = ("plan", job / "job.toml", "-w", job / "weather.csv", "--as-of", "2026-05-05T14:00:00-04:00")
    result, asked_otherwise = run(*asked), run(*asked, "--units", "us")
    assert "°C" in result.out
    assert "°F" not in result.out
    assert "°F" in asked_otherwise.out
