"""The papers of a slab under blankets, and of a coated drive in spring: the samples, crew and owner side by side."""

from __future__ import annotations

from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.events import owner_events
from handover.documents.message import compose_message
from handover.documents.wording import Wording
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.tasks import BLANKETS_OFF, WALK_THROUGH

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
