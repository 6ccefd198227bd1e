"""The papers of a slab under blankets and of a coated drive, crew and owner side by side, by the samples."""

from __future__ import annotations

from datetime import UTC
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import CrewSheet
from handover.documents.events import crew_events, owner_events
from handover.documents.message import compose_message
from handover.documents.wording import Wording
from handover.schedule.cover_times import DRYING
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.tasks import BLANKETS_OFF, BLANKETS_ON, RUB_EDGES, WALK_THROUGH, WATERING

if TYPE_CHECKING:
    from handover.documents.events import CareEvent

LANGUAGES = ("en", "es")
both = pytest.mark.parametrize("language", LANGUAGES)


def words_of(sample_inputs: Any, sample: str, language: str) -> Wording:
    received, schedule = sample_inputs(sample)
    return Wording(received.job, schedule, language=language)


def event(events: tuple[CareEvent, ...], kind: str) -> CareEvent:
    return next(each for each in events if each.kind == kind)


def letter(words: Wording) -> str:
    body = message_from_bytes(compose_message(words, {}), policy=policy.default).get_body(("plain",))
    return body.get_content() if body else ""


@both
def test_walking_waits_for_the_crew_to_lift_the_blankets(sample_inputs: Any, language: str) -> None:
    """Seen: the crew may lift them on a later afternoon, and the owner walks at an hour."""
    words = words_of(sample_inputs, "november-shop", language)
    lifted = words.say("milestone.words.once-lifted")
    walk = next(each for each in words.milestones if each.kind == Kind.FOOT_TRAFFIC)
    assert walk.sentence.startswith(lifted)
    assert lifted in event(owner_events(words), Kind.FOOT_TRAFFIC).description
    assert f"{walk.when_text}. {lifted}" in " ".join(letter(words).split())
    car = next(each for each in words.milestones if each.kind == Kind.LIGHT_VEHICLES)
    assert lifted not in car.sentence


@both
def test_a_use_without_blankets_waits_for_nobody(sample_inputs: Any, language: str) -> None:
    words = words_of(sample_inputs, "summer-garage", language)
    assert words.dates.once_lifted(Kind.FOOT_TRAFFIC) == ""


def test_forms_come_off_once_the_blankets_are_off(sample_inputs: Any) -> None:
    """The blankets lie over the forms: nobody strips under them, and the walk-through follows both."""
    _, schedule = sample_inputs("november-shop")
    [off], [strip], [walk] = (
        schedule.tasks_of("crew", kind) for kind in (BLANKETS_OFF, Kind.STRIP_EDGE_FORMS, WALK_THROUGH)
    )
    assert off.end <= strip.start
    assert max(off.end, strip.end) <= walk.start


@both
def test_the_crew_reads_what_the_owner_may_call_about(sample_inputs: Any, language: str) -> None:
    """Seen: the owner calls in cold and after rain on the coat, and the crew has nothing ready."""
    words = words_of(sample_inputs, "driveway-compound", language)
    sheet, cold = CrewSheet(words), words.warnings.cold_to_call_at
    assert cold is not None
    assert cold[0] in words.warnings.call_in_cold
    care = CareSheet(words, {}).if_weather_turns
    assert words.warnings.call_in_cold in care
    rain = words.say("crew.call-rain.title", hours=words.speak.length(DRYING))
    printed = [row for section in sheet.sections for row in section.rows]
    titles = {row.what: row.detail for row in printed}
    assert titles[words.warnings.cold_call_title] == words.say("crew.call-cold.text")
    assert titles[rain] == words.say("crew.call-rain.text")
    warm = CrewSheet(words_of(sample_inputs, "november-shop", language))  # its blankets are planned
    assert not any(words.say("crew.call-cold.text") in row.text for row in warm.rows("owner"))


@both
def test_the_crew_leaves_what_the_owner_draws_over_the_blankets(sample_inputs: Any, language: str) -> None:
    """Seen: on a top that is soft in the frost, nobody left the plastic that the owner draws over them."""
    words = words_of(sample_inputs, "november-shop", language)
    leave = words.say("event.blankets-on.leave")
    printed = [row for section in CrewSheet(words).sections for row in section.rows]
    assert any(leave in row.what for row in printed if row.kind == BLANKETS_ON)
    assert leave in event(crew_events(words), BLANKETS_ON).description.splitlines()


@both
def test_who_saws_under_blankets_has_room_and_steps_on_bare_concrete(
    sample_inputs: Any, language: str
) -> None:
    """A strip of the width of a blade has no room for the saw; a fold of a blanket marks a soft top."""
    words = words_of(sample_inputs, "november-shop", language)
    rows = [row for section in CrewSheet(words).sections for row in section.rows]
    room, step = {"en": ("for saw and person", "bare concrete only"), "es": ("y la persona", "descubierta")}[
        language
    ]
    saw = next(row for row in rows if row.kind == Kind.SAW_JOINTS)
    assert room in saw.text
    assert step in saw.text


@both
def test_the_crew_asks_the_owner_who_may_keep_the_blankets_on(sample_inputs: Any, language: str) -> None:
    """Seen: the owner is told to ask, and no visit of the crew has it."""
    words = words_of(sample_inputs, "november-shop", language)
    longer = words.warnings.left_on("event.blankets-off.left-on")
    owner = {"en": "Agree with the owner", "es": "Acuerde antes con el dueño"}[language]
    assert longer.startswith(owner)
    rows = [row for section in CrewSheet(words).sections for row in section.rows]
    assert any(longer in row.what for row in rows if row.kind == BLANKETS_OFF)
    assert longer in event(crew_events(words), BLANKETS_OFF).description


@both
def test_the_owner_reads_that_plastic_lies_first_on_a_soft_top(sample_inputs: Any, language: str) -> None:
    """Seen: blankets "as soon as they leave no mark" for the owner, and plastic that marks for the crew."""
    words = words_of(sample_inputs, "november-shop", language)
    until = next(each for each in words.milestones if each.kind == Kind.PROTECTION_ENDS).when
    start = words.speak.moment(words.schedule.blankets_on)
    assert until is not None
    said = words.say("sheet.crew-blankets-plastic", start=start.text, until=until.text)
    assert said in CareSheet(words, {}).crew
    assert said in " ".join(letter(words).split())


@both
def test_a_watering_that_counts_on_rain_says_what_if_it_stays_dry(sample_inputs: Any, language: str) -> None:
    """Seen: only the table had it, and the alarm of the calendar sent the owner out in the rain."""
    words = words_of(sample_inputs, "summer-garage", language)
    noted = {
        visit.start: day.note
        for day in words.watering
        for visit in day.visits
        if words.visits.rain_at(visit.start)
    }
    assert noted
    events = {each.start: each.description for each in owner_events(words) if each.kind == WATERING}
    for start, note in noted.items():
        rain = words.visits.rain_at(start)
        assert rain in note
        assert rain in events[start.astimezone(UTC)]


@both
def test_what_the_crew_mends_need_not_be_at_an_edge(sample_inputs: Any, language: str) -> None:
    """Seen: a mark on the top stood under the patching of the edges."""
    words = words_of(sample_inputs, "driveway-compound", language)
    [row] = (each for each in CrewSheet(words).rows("visits") if each.kind == RUB_EDGES)
    assert row.what.startswith({"en": "Mend, rub", "es": "Reparar, frotar"}[language])
    assert any(words.say("event.rub-edges.title") in each for each in CareSheet(words, {}).crew)
