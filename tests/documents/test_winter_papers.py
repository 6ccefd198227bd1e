"""The papers of a slab under blankets and of a coated drive, crew and owner side by side, by the samples."""

from __future__ import annotations

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
from handover.schedule.tasks import BLANKETS_OFF, BLANKETS_ON, WALK_THROUGH

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
