"""A pond on the slab: who stays off it, how it is filled, and that it is drained before any use."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.events import crew_events, owner_events
from handover.documents.message import compose_message, keep_off
from handover.documents.templating import fill_text
from handover.documents.wording import Wording
from handover.schedule.model import Caution, MilestoneKind

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = ("en", "es")


def pond_words(job: JobRecord, schedule: CureSchedule, language: str, *cautions: str) -> Wording:
    """Return the words of a slab under a pond."""
    extra = tuple(Caution(each) for each in cautions)
    pond = replace(
        schedule, curing_method="ponding", tasks=(), cautions=(*schedule.cautions, *extra), between=None
    )
    return Wording(job, pond, language=language)


@pytest.mark.parametrize("language", LANGUAGES)
def test_children_and_pets_stay_off_until_the_pond_is_drained(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: off "until 7:30 in the morning" in the letter, and pets let on it, with a week of water on it."""
    wording = pond_words(job, schedule, language, "children-animals")
    dates = {each.kind: each for each in wording.dates.owner_milestones}
    drained, walk = dates[MilestoneKind.CURING_ENDS].when, dates[MilestoneKind.FOOT_TRAFFIC]
    assert drained is not None
    assert walk.when is not None
    assert walk.when.instant < drained.instant
    assert keep_off(wording) == wording.say("message.keep-off-pond", when=drained.text)
    assert wording.say("milestone.words.in-pond") in walk.sentence
    assert wording.say("milestone.foot-traffic.sentence") not in walk.sentence  # it lets pets on
    (event,) = (each for each in owner_events(wording) if each.kind == MilestoneKind.FOOT_TRAFFIC)
    assert walk.sentence in event.description
    closed = wording.say("caution.children-animals.text-ponding")
    assert closed in " ".join(each.text for each in wording.cautions)
    stays = "children and pets off" if language == "en" else "Ni niños ni mascotas"
    assert stays in fill_text(f"{language}/how/ponding.md", steep=False)


@pytest.mark.parametrize("language", LANGUAGES)
def test_only_a_pond_that_stands_keeps_people_off_until_it_is_drained(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """On a slope no pond stays; after the watering none is there; without its end, the crew says when."""
    pond = pond_words(job, schedule, language)
    ends = pond.schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    steep = pond_words(job, schedule, language, "steep")
    over = pond_words(job, replace(schedule, issued_at=ends.not_before + timedelta(days=2)), language)
    keys = ("message.keep-off-pond", "message.keep-off")
    drained, usual = ([each for each in pond.say(key, when="|").split("|") if each] for key in keys)
    assert all(each in keep_off(pond) for each in drained)
    assert keep_off(steep).startswith(usual[0])
    assert not all(each in keep_off(steep) for each in drained)
    assert keep_off(over) == ""
    others = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.CURING_ENDS)
    endless = replace(
        schedule, milestones=(*others, replace(ends, likely=None, not_before=None, printed=None))
    )
    assert keep_off(pond_words(job, endless, language)) == pond.say("message.keep-off-unknown")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_forms_come_off_with_the_water_in_place(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "let the water run off, strip, and build it again", and nobody filled it for a day of 35 degC."""
    wording = pond_words(job, schedule, language)
    events = {each.kind: each for each in crew_events(wording)}
    inside = wording.say("event.build-rim.inside-forms")
    assert inside in events["build-rim"].description
    strip = events[MilestoneKind.STRIP_EDGE_FORMS].description
    assert wording.say("milestone.words.strip-under--ponding") in strip
    lets_off = "run off" if language == "en" else "salir el agua"
    assert lets_off not in strip
    kept = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.STRIP_EDGE_FORMS)
    formless = pond_words(job, replace(schedule, milestones=kept), language)
    (rim,) = (each for each in crew_events(formless) if each.kind == "build-rim")
    assert inside not in rim.description


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_pond_is_drained_and_the_top_dries_before_wheels_and_work(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "Park a car on it" on the morning of a top-up, with the pond and its rim still there."""
    wording = pond_words(job, schedule, language)
    sentences = {each.kind: each.sentence for each in wording.dates.owner_milestones}
    drain, rim, first = {
        "en": ("drain it slowly to where it does no harm", "clear the rim away", "First let the pond off"),
        "es": ("vacíe el agua despacio, a donde no haga daño", "quite el borde", "Vacíe antes el agua"),
    }[language]
    assert drain in sentences[MilestoneKind.CURING_ENDS]
    assert rim in sentences[MilestoneKind.CURING_ENDS]
    for kind in (MilestoneKind.LIGHT_WORK, MilestoneKind.LIGHT_VEHICLES):
        assert sentences[kind].startswith(first)
    bare = {each.kind: each.sentence for each in Wording(job, schedule, language=language).dates.milestones}
    assert first not in bare[MilestoneKind.LIGHT_VEHICLES]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_first_water_fills_the_pond_in_every_paper(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: the calendar topped up an empty pond, without a test of a corner, and skipped it in rain."""
    wording = pond_words(job, schedule, language)
    first, *others = (each for each in owner_events(wording) if each.kind == "watering")
    test, skip = wording.say("milestone.first-water--ponding.sentence"), wording.say("if-rain.skip")
    assert first.title.startswith(wording.say("milestone.first-water--ponding.title"))
    assert test in first.description
    job_now = CareSheet(wording, {}).job_now
    assert job_now.heading == wording.say("milestone.first-water--ponding.title") + "."
    assert test in job_now.sentence
    message: Any = message_from_bytes(compose_message(wording, {}), policy=policy.default)
    plain = " ".join(message.get_body(("plain",)).get_content().split())
    assert f"{job_now.heading} {job_now.when.removesuffix('.')}. {job_now.sentence}" in plain
    assert skip not in first.description
    assert others
    for each in others:
        assert not each.title.startswith(wording.say("milestone.first-water--ponding.title"))
        assert test not in each.description
        assert skip in each.description
