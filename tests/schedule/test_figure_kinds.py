"""Every figure that the schedule makes has a declared kind, and the unit of that kind."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from handover.schedule.figure_kinds import FIGURE_KINDS, SI_UNITS, unit_of
from handover.units import KINDS

SCHEDULE = Path(__file__).parents[2] / "handover" / "schedule"
NOT_OF_ONE_KIND = {"needed", "limit"}
IN_MINUTES = {(name, "min") for name in ("time_to_discharge", "ticket_limit", "usual_limit")}
"""A delay is compared with its limit in minutes."""


def figures() -> set[tuple[str, str]]:
    """Return the name and the unit of every figure that a module of the schedule makes by its name."""
    found = set()
    for file in SCHEDULE.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Figure":
                name, _, unit = node.args
                if isinstance(name, ast.Constant) and isinstance(unit, ast.Constant):
                    found.add((str(name.value), str(unit.value)))
    return found


@pytest.mark.parametrize(("name", "unit"), sorted(figures()))
def test_a_figure_has_a_kind_and_its_unit(name: str, unit: str) -> None:
    if name not in NOT_OF_ONE_KIND and (name, unit) not in IN_MINUTES:
        assert unit_of(FIGURE_KINDS[name]) in {unit, ""}


def test_no_kind_is_declared_for_a_figure_that_nobody_makes() -> None:
    assert FIGURE_KINDS.keys() == {name for name, _ in figures()} - NOT_OF_ONE_KIND


def test_every_kind_has_its_unit() -> None:
    assert SI_UNITS.keys() == KINDS.keys()
