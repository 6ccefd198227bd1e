"""What was placed is printed as it was ordered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.care_sheet import CareSheet
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


def test_usual_terms_are_in_the_readers_language(job: JobRecord, schedule: CureSchedule) -> None:
    mix = job.mix.model_copy(update={"admixtures": ("accelerator", "Brand {x} 7")})
    slab = job.slab.model_copy(update={"reinforcement": "fiber"})
    item = job.walkthrough[0].model_copy(update={"item": "Joints: straight, clean, deep enough"})
    job = job.model_copy(update={"mix": mix, "slab": slab, "walkthrough": (item,)})
    wording = Wording(job, schedule, language="es")
    facts = dict(placement_facts(wording))
    assert facts["Aditivos"] == "acelerante, Brand {x} 7"
    assert facts[wording.say("placed.reinforcement")] == "fibra"
    [row] = CareSheet(wording, {}).walkthrough
    assert row.item == wording.say("look-at.joints")
