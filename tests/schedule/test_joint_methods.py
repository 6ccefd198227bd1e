"""How the joints are made decides whether a saw comes, and from when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.schedule.model import CureSchedule

    Plan = Callable[[str], CureSchedule]


@pytest.fixture
def plan(job: Callable[..., object], weather: Callable[..., object], as_of: datetime) -> Plan:
    """Plan a slab by how its joints are made."""

    def plan_with(joints: str) -> CureSchedule:
        return plan_cure(job(slab={"joints": joints}), weather(), as_of)  # type: ignore[arg-type]

    return plan_with


@pytest.mark.parametrize("joints", ["tooled", "none"])
def test_no_saw_comes_where_no_joint_is_sawn(plan: Plan, joints: str) -> None:
    schedule = plan(joints)
    assert schedule.milestone(MilestoneKind.SAW_JOINTS) is None
    assert schedule.joints is None
    assert "silica" not in {each.code for each in schedule.cautions}


def test_an_early_entry_saw_waits_for_final_set_alone(plan: Plan) -> None:
    """Common practice, no source: it cuts once the surface bears it, no later than a conventional saw."""
    early, sawn = (plan(each).milestone(MilestoneKind.SAW_JOINTS) for each in ("early-entry", "sawn"))
    assert early is not None
    assert sawn is not None
    assert early.because.governing.rule == "saw-joints.final-set"
    assert early.likely <= sawn.likely  # type: ignore[operator]
