"""What was placed is printed as it was ordered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.slab_facts import placement_facts
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule


def test_the_cement_is_named_as_it_was_ordered(job: JobRecord, schedule: CureSchedule) -> None:
    """GU is computed as type I; the owner ordered GU."""
    mix = job.mix.model_copy(update={"cement": "I", "cement_ordered": "GU"})
    label = Wording(job, schedule).say("placed.cement")
    assert dict(placement_facts(Wording(job.model_copy(update={"mix": mix}), schedule)))[label] == "GU"
    assert dict(placement_facts(Wording(job, schedule)))[label] == job.mix.cement
