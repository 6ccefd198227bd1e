"""One quantity at a time: its ends and its middle, of a few sweeps of `make sweeps`, which has all of them.

Principle: what slows setting or hardening makes no date earlier, and what speeds them up none later. The
comments of `tests/benchmarks/matrix.py` say why, sweep by sweep.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.basis import basis_of
from handover.schedule.milestones import compute_dates
from handover.schedule.model import MilestoneKind
from handover.schedule.simulation import simulate

if TYPE_CHECKING:
    from types import ModuleType

MEMBERS = 8
SWEEPS = (
    "air, degC: curing compound",
    "concrete, degC, in 12",
    "inches, in 2 degC",
    "ash, in 2 degC",
    "slag, in 35 degC",
    "w/cm, in 12 degC",
    "wind, m/s, in 2 degC",
    "f'c, MPa, in 12 degC",
    "cement, kg/m3, in 2 degC",
    "III, plain, II, in 8 degC",
    "III, plain, V, in 35 degC",
    "accelerator, plain, retarder, in 2 degC",
)


@pytest.fixture(scope="module")
def matrix() -> ModuleType:
    path = Path(__file__).parents[1] / "benchmarks" / "matrix.py"
    spec = spec_from_file_location("matrix", path)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    module.FEW = MEMBERS
    return module


@pytest.mark.parametrize("name", SWEEPS)
def test_no_step_goes_the_wrong_way(matrix: ModuleType, name: str) -> None:
    whole = next(each for each in matrix.sweeps() if each.name == name)
    few = whole.values[[0, len(whole.values) // 2, -1]]
    swept = matrix.Swept(replace(whole, values=few, is_continuous=False))
    assert list(swept.findings()) == []
    assert any(kind in swept.dates(few[0]) for kind in whole.must), "some date is asked for"


def test_a_step_the_wrong_way_is_found(matrix: ModuleType) -> None:
    """With what must hold turned round, every sweep of ash has something against it."""
    whole = next(each for each in matrix.sweeps() if each.name == "ash, in 12 degC")
    turned = {kind: -way for kind, way in whole.must.items()}
    swept = matrix.Swept(replace(whole, values=whole.values[[0, -1]], must=turned, is_continuous=False))
    assert {kind for kind, _ in swept.findings()} == {"wrong way"}


def steps(matrix: ModuleType, name: str, *values: float) -> list[tuple[str, str]]:
    """Return what some steps of a sweep have against them, with as many members as `make sweeps` has."""
    whole = next(each for each in matrix.sweeps() if each.name == name)
    return list(matrix.Swept(replace(whole, values=np.array(values), is_continuous=False)).findings())


@pytest.fixture
def as_swept(matrix: ModuleType, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.setattr(matrix, "FEW", 40)
    return matrix


def test_late_members_do_not_wait_for_as_long_as_likely_ones(as_swept: ModuleType) -> None:
    """Seen: light work 18 h later in a week that is 1 K warmer.

    Its cautious end was that of walking, reached in the mild weeks, and the time that hardening likely takes,
    in the frost before them.
    """
    assert steps(as_swept, "air, degC: at a known place", -6.0, -5.0, -4.0, -3.0) == []


def test_members_that_begin_to_harden_in_a_warmer_week_put_no_date_later(as_swept: ModuleType) -> None:
    """Seen: safe from frost 117 h later at -4 than at -5 degC.

    The wait after final set left out the members that never harden, and took them in once they did.
    """
    assert steps(as_swept, "air, degC: sprinkler", -5.0, -4.6, -4.4, -4.0) == []


@pytest.mark.parametrize(
    ("name", "colder", "warmer"),
    [("curing compound", -3.0, -2.0), ("at a known place", -3.0, -2.0), ("wet burlap", 4.0, 5.0)],
)
def test_a_cover_against_cold_makes_no_warmer_slab_wait(
    as_swept: ModuleType, name: str, colder: float, warmer: float
) -> None:
    """Seen: a walk seven weeks later at -2 than at -3 degC, and light work at 5 than at 4 degC.

    The colder slab, whose cover came off past the estimate, kept its date by strength; so did one at a known
    place whose date was printed as a week that began after that. At 5 degC a cover in place of water, laid
    after cold protection, held people off; at 4 degC they folded a sheet back.
    """
    assert steps(as_swept, f"air, degC: {name}", colder, warmer) == []


def test_what_is_allowed_is_no_more_than_what_a_step_needs(
    as_swept: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    name, step = "air, degC: plastic sheet", (2.0, 3.0)
    assert {kind for kind, _ in steps(as_swept, name, *step)} == {"allowed"}
    less = tuple(replace(each, most_h=each.most_h * 0.85) for each in as_swept.ALLOWED)
    monkeypatch.setattr(as_swept, "ALLOWED", less)
    assert "wrong way" in {kind for kind, _ in steps(as_swept, name, *step)}
    monkeypatch.setattr(as_swept, "ALLOWED", tuple(replace(each, ends=frozenset()) for each in less))
    assert {kind for kind, _ in steps(as_swept, name, *step)} == {"wrong way", "not needed"}


def test_a_white_sheet_that_stays_is_why_the_warmer_slab_hardens_later(as_swept: ModuleType) -> None:
    """With the sheet on both, the warmer slab is sooner; taken off in the sun, the colder one is."""
    base = as_swept.Case(method="plastic sheet", air="humid", known_place=False)
    stays, comes_off = {}, {}
    for mean_c in (2.0, 3.0):
        case = replace(base, mean_c=mean_c)
        simulation = simulate(case.record(), case.weather(), case.start, members=40)
        dates = compute_dates(simulation, basis_of(simulation.weather))
        stays[mean_c] = dates.not_before(MilestoneKind.LIGHT_WORK)
        comes_off[mean_c] = case.schedule(40).milestone(MilestoneKind.LIGHT_WORK).not_before
    assert stays[3.0] < stays[2.0]
    assert comes_off[3.0] > comes_off[2.0]
