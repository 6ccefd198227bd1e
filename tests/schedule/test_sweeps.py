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

import pytest

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
