"""The same instruction never reads two ways: calendar, page, sheet and letter say it in the same words."""

from __future__ import annotations

from dataclasses import dataclass
from email import message_from_bytes
from email.policy import default
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import icalendar
import pytest

from handover.documents.calendars import owner_calendar
from handover.documents.events import owner_events
from handover.documents.message import REPORTED_KINDS, compose_message
from handover.documents.pages import care_page_html, care_sheet_html
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.schedule.model import MilestoneKind
from handover.schedule.tasks import PERMISSIONS

if TYPE_CHECKING:
    from pathlib import Path

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = languages()
OF_DATES = [*PERMISSIONS, MilestoneKind.SEAL, MilestoneKind.FLOOR_COVERING]
"""Dates that have an event of their own in the owner's calendar."""


def plain(text: str) -> str:
    """Return a text with its words one space apart: a line break says nothing."""
    return " ".join(text.split())


class Heard(HTMLParser):
    """Hears a page as a person does."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []

    def handle_data(self, data: str) -> None:
        self.said.append(data)

    @classmethod
    def of(cls, html: str) -> str:
        heard = cls()
        heard.feed(html)
        return plain(" ".join(heard.said))


@dataclass(frozen=True)
class Texts:
    """Everything that an owner is given, as text."""

    wording: Wording
    sheet: str
    page: str
    letter: str
    events: tuple[tuple[str, str], ...]


def texts(job: JobRecord, schedule: CureSchedule, language: str, templates: Path | None = None) -> Texts:
    wording = Wording(job, schedule, language=language, templates=templates)
    calendar = icalendar.Calendar.from_ical(owner_calendar(wording))
    letter = message_from_bytes(compose_message(wording, {}), policy=default)
    body = letter.get_body(("plain",))
    assert body is not None
    return Texts(
        wording,
        Heard.of(care_sheet_html(wording)),
        Heard.of(care_page_html(wording)),
        plain(body.get_content()),
        tuple((plain(str(e["SUMMARY"])), plain(str(e["DESCRIPTION"]))) for e in calendar.walk("VEVENT")),
    )


@pytest.fixture(scope="module", params=LANGUAGES)
def result(request: pytest.FixtureRequest, module_inputs: tuple[JobRecord, CureSchedule]) -> Texts:
    return texts(*module_inputs, request.param)


@pytest.mark.parametrize("kind", OF_DATES)
def test_a_date_is_printed_in_one_way(kind: MilestoneKind, result: Texts) -> None:
    milestone = result.wording.schedule.milestone(kind)
    assert milestone is not None
    words = result.wording.milestone(milestone)
    assert words.when is not None
    events = [(title, text) for title, text in result.events if title.startswith(words.title)]
    if kind not in result.wording.dates.owner_kinds:  # in no paper of the owner's
        assert not events
        assert words.sentence not in f"{result.sheet} {result.page} {result.letter}"
        return
    (event,) = events
    assert plain(words.when_text) in event[1]
    for paper in (result.sheet, result.page, event[1]):
        assert words.sentence in paper
    for paper in (result.sheet, result.page):
        assert words.title in paper or kind not in PERMISSIONS
        assert words.when.day.casefold() in paper.casefold()
    if kind in REPORTED_KINDS:
        assert f"{words.title}: {plain(words.when_text)}." in result.letter


def test_the_first_watering_is_printed_in_one_way(result: Texts) -> None:
    milestone = result.wording.schedule.milestone(MilestoneKind.FIRST_WATER)
    assert milestone is not None
    words = result.wording.milestone(milestone)
    assert words.when is not None
    for paper in (result.sheet, result.page):
        assert words.title in paper
        assert words.sentence in paper
        assert f"{result.wording.say('sheet.not-before')} {words.when.hour}, {words.when.day}" in paper
    assert f"{words.title}: {words.when_text}." in result.letter


def test_every_watering_is_printed_in_one_way(result: Texts) -> None:
    titles = [title for title, _ in result.events]
    visits = [visit for day in result.wording.watering for visit in day.visits]
    assert visits
    for visit in visits:
        assert visit.title in titles
        assert plain(visit.short_span) in result.sheet
        assert plain(visit.short_span) in result.page


def test_salt_is_printed_in_one_way(result: Texts) -> None:
    milestone = result.wording.schedule.milestone(MilestoneKind.DEICING_SALT)
    assert milestone is not None
    words = result.wording.milestone(milestone)
    assert words.when is not None
    (reminder,) = (event.description for event in owner_events(result.wording) if event.kind == "no-salt")
    for paper in (plain(reminder), result.sheet, result.page):
        assert words.when.day.casefold() in paper.casefold()


def test_limits_and_caller_are_printed_in_one_way(result: Texts) -> None:
    for line in result.wording.limits:
        assert line in result.sheet
        assert line in result.page
    for line in result.wording.limits[:2]:
        assert line in result.letter
    assert result.wording.caller in result.letter
    assert all(result.wording.caller in text for _, text in result.events)


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_change_of_words_changes_every_document(
    language: str, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    """What holds for the words of today holds for any: they are in one place only."""
    for name in ("title", "sentence"):
        own = tmp_path / name / language
        own.mkdir(parents=True)
        (own / "words.toml").write_text(f'[milestone.foot-traffic]\n{name} = "Ni un pie aquí"\n', "utf-8")
        before = Wording(*module_inputs, language=language).say(f"milestone.foot-traffic.{name}")
        after = texts(*module_inputs, language, tmp_path / name)
        events = " ".join(" ".join(event) for event in after.events)
        papers = [after.sheet, after.page, events, *([after.letter] if name == "title" else [])]
        assert all("Ni un pie aquí" in paper for paper in papers)
        assert not any(before in paper for paper in papers)
