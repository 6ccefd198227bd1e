"""Bands that hold: the backtest of the benchmark folder, on fewer pours and for ten days each.

Goal: of the dates printed as "not before" at 90 %, 5 to 15 % come out too early when the forecast errs as the
schedule states, at most 20 % when it errs in a way the schedule does not know. 24 pours in each of two towns
are some 48 independent trials, drawn from one seed: the goal is asked of them as it stands. Without the
errors of the forecast 16 % are missed on the first count and 23 % on the second; a change that only shifts
the draws is judged by the whole backtest, and so are the loads that wait for weeks. Source of the real hours:
two TMY3 years inside the pvlib wheel.
"""

from __future__ import annotations

import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from types import ModuleType

POURS = 24
MEMBERS = 60
DAYS = 10
MIXES = 40  # of the slab in real weather; pours are the independent trials


@pytest.fixture(scope="module")
def backtest() -> ModuleType:
    path = Path(__file__).parents[1] / "benchmarks" / "backtest.py"
    spec = spec_from_file_location("backtest", path)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    module.REAL_DAYS = module.ISSUED_DAYS = DAYS  # the forecast, and some of the real season
    module.MIXES = MIXES
    module.DATES = tuple(each for each in module.DATES if each != "heavy-vehicles")
    return module


@pytest.mark.parametrize(
    ("blur", "fewest", "most"), [("stated error model", 0.05, 0.15), ("yesterday repeated", 0.05, 0.20)]
)
def test_few_dates_come_out_too_early(backtest: ModuleType, blur: str, fewest: float, most: float) -> None:
    outcomes = [
        outcome
        for town in backtest.TOWNS
        for outcome in backtest.outcomes(town, town.year(), backtest.BLURS[blur], POURS, MEMBERS)
    ]
    everything = backtest.rows(outcomes)[-1]
    assert everything.count > POURS * len(backtest.DATES)
    assert fewest <= everything.missed <= most
    # ... and the cautious end is no empty phrase: the likely date alone would be missed far more often.
    likely = sum(each.later_than(each.likely_h) for each in outcomes) / len(outcomes)
    assert likely > everything.missed + 0.10
