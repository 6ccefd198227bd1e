"""The rule data: every row whole, marked, sourced and known to the code that reads it."""

from __future__ import annotations

from typing import get_args

import pytest

from handover.jobs.record import Method, SlabUse
from handover.practice.rules import CementRule, GateRule, Mark, Rule, practice
from handover.schedule.gate_evaluators import GATE_EVALUATORS
from handover.schedule.model import MilestoneKind

MARKS = set(get_args(Mark))
PRACTICE = practice()


@pytest.mark.parametrize("rule", PRACTICE.rules.values(), ids=lambda rule: rule.name)
def test_a_rule_has_unit_source_and_mark(rule: Rule) -> None:
    assert rule.unit
    assert len(rule.source) > 10
    assert rule.mark in MARKS


@pytest.mark.parametrize("gate", PRACTICE.gates, ids=lambda gate: gate.rule)
def test_a_gate_can_be_measured_and_says_where_it_comes_from(gate: GateRule) -> None:
    assert gate.measure in GATE_EVALUATORS
    assert gate.milestone in set(MilestoneKind)
    assert gate.rule.startswith(gate.milestone)
    assert gate.source
    assert gate.mark in MARKS
    assert set(gate.uses) <= set(get_args(SlabUse))


def test_every_milestone_has_a_gate() -> None:
    assert {gate.milestone for gate in PRACTICE.gates} == set(MilestoneKind)


def test_every_load_has_two_gates_strength_and_age() -> None:
    for kind in ("foot-traffic", "light-work", "light-vehicles", "heavy-vehicles"):
        measures = {gate.measure for gate in PRACTICE.gates_of(kind, "driveway")}
        assert "age" in measures
        assert measures & {"strength", "share of strength"}


def test_cautions_say_where_they_come_from() -> None:
    for code, rule in PRACTICE.cautions.items():
        assert len(rule.source) > 10, code
        assert rule.mark in MARKS, code


def test_methods_are_those_of_the_record() -> None:
    watered = set(PRACTICE.methods)
    assert watered <= set(get_args(Method))
    assert set(get_args(Method)) - watered == {"curing compound", "insulating blanket"}


@pytest.mark.parametrize("cement", PRACTICE.cements.values(), ids=list(PRACTICE.cements))
def test_phases_of_a_cement_are_shares(cement: CementRule) -> None:
    phases = dict(cement.phases)
    blaine = phases.pop("blaine")
    assert 250 <= blaine <= 700  # m2/kg
    assert all(0 <= share <= 1 for share in phases.values())
    assert 0.85 <= sum(phases.values()) <= 1.05


def test_ages_and_loads_grow_together() -> None:
    """What weighs more waits longer and asks for more strength.

    Work asks for a strength in MPa and wheels for a share of it: the order of the dates holds these apart.
    """
    for measure, kinds in (
        (
            ("age", "age, or full strength by cylinders"),
            ("foot-traffic", "light-work", "light-vehicles", "heavy-vehicles"),
        ),
        (("strength",), ("strip-edge-forms", "foot-traffic", "light-work")),
        (("share of strength",), ("light-vehicles", "heavy-vehicles")),
    ):
        found = [
            max(
                gate.value or 0.0
                for gate in PRACTICE.gates_of(kind, "garage floor")
                if gate.measure in measure
            )
            for kind in kinds
        ]
        assert found == sorted(found)
