"""What was placed is printed as it was ordered."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.slab_facts import placement_facts
from handover.documents.wording import Wording
from handover.schedule.model import Caution, Figure

if TYPE_CHECKING:
    from collections.abc import Callable

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


def test_water_that_was_added_at_the_site_is_told_beside_what_was_ordered(
    job: JobRecord, schedule: CureSchedule
) -> None:
    figures = (Figure("water_cementitious", 0.526, "1"), Figure("strength_lost", 0.066, "1"))
    wetter = replace(schedule, cautions=(*schedule.cautions, Caution("water-added", figures)))
    mix = job.mix.model_copy(update={"water_cementitious": 0.50})
    wording = Wording(job.model_copy(update={"mix": mix}), wetter)
    label = wording.say("placed.w-cm")
    assert dict(placement_facts(wording))[label] == "0.5 ordered, 0.53 with the water added at the site"
    # The data sheet, which has more digits elsewhere, has the same number.
    assert wording.quantities.figure(Figure("water_cementitious", 0.526, "1"), digits=3) == "0.53"


@pytest.mark.parametrize(("coloured", "has_boards"), [(False, True), (True, False)])
def test_no_boards_are_laid_on_a_coloured_slab(
    job: JobRecord, schedule_with: Callable[..., CureSchedule], coloured: bool, has_boards: bool
) -> None:
    """Seen: "lay boards if you must" beside "lay nothing on it in the first weeks"."""
    slab = job.slab.model_copy(update={"coloured": coloured})
    curing = job.curing.model_copy(update={"method": "curing compound"})
    own = job.model_copy(update={"slab": slab, "curing": curing})
    how = CareSheet(Wording(own, schedule_with(method="curing compound", watering=())), {}).how
    assert ("Lay boards" in how) == has_boards
