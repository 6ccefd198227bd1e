"""A short run of each campaign, with one seed; `make campaign` runs them for as long as one likes."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import every_campaign  # noqa: F401 - registers them
from campaign import CAMPAIGNS, MOST_ALIKE, Campaign, Case, report, run, try_case

# The worker of the suite that runs this has a thread for its own talk; the child of a fork has no use for it.
pytestmark = [
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
    pytest.mark.usefixtures("shared_schedules"),
]

SEED = 1


@pytest.mark.parametrize("name", sorted(CAMPAIGNS))
def test_a_short_run_finds_no_fault(name: str, tmp_path: Path) -> None:
    tried = CAMPAIGNS[name]
    for number in range(tried.in_suite):
        fault = try_case(tried, SEED, number, tmp_path)
        assert fault is None, fault.trace


def _refuse_even(case: Case) -> None:
    drawn = case.random.randrange(100)
    case.keep("drawn", str(drawn).encode())
    if drawn % 2 == 0:
        raise ValueError(f"{drawn} is even")


def test_a_fault_is_kept_and_can_be_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    odd = Campaign("odd", _refuse_even, 0)
    monkeypatch.setitem(CAMPAIGNS, "odd", odd)
    tally = run([odd], 5, tmp_path, lambda tried: tried < 20)["odd"]
    assert 0 < len(tally.faults) < tally.tried
    first = tally.faults[0]
    kept = {f"odd-{each.number}" for each in tally.faults[:MOST_ALIKE]}
    assert {each.name for each in tmp_path.iterdir()} == kept
    drawn = (first.folder / "drawn").read_text()
    assert first.kind in "\n".join(report({"odd": tally}, 5))
    again = try_case(odd, 5, first.number, tmp_path / "again")
    assert again is not None
    assert (again.folder / "drawn").read_text() == drawn
    assert "is even" in (again.folder / "fault.txt").read_text()
