"""What owner and crew read of joints fits the slab: sawn, early-entry, tooled, or none."""

from __future__ import annotations

import re
import tomllib
from datetime import datetime
from email import message_from_bytes
from email.policy import default
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, get_args

import icalendar
import pytest

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.message import compose_message
from handover.documents.pages import care_page_html, care_sheet_html, data_sheet_html
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.jobs.attached_files import FolderFiles
from handover.jobs.reading import examine_tables
from handover.jobs.record import JointMethod
from handover.schedule.plan import plan_cure
from handover.weather.reading import read_weather

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

SAMPLE = Path(__file__).parents[2] / "sample_jobs" / "summer-garage"
METHODS = get_args(JointMethod)
SAWN = ("sawn", "early-entry")

JOINT = {"en": r"\bjoints?\b", "es": r"\bjuntas?\b"}
SAW = {"en": r"\bsaw(?!-)|\bsawn\b|\bcuts?\b", "es": r"\bsierras?\b|\bcort(?:a|an|e|en|es|ar)\b"}
"""Words of joints, and of a saw that cuts."""


class Papers(NamedTuple):
    """What a language says of a slab with such joints, as text."""

    joints: str
    language: str
    sheet: str
    page: str
    letter: str
    owner: str
    crew: str
    data: str

    def having(self, pattern: dict[str, str]) -> set[str]:
        """Return the names of the papers in which words of this pattern stand."""
        texts = self._asdict().items()
        return {
            name for name, text in texts if name not in {"joints", "language"} and self.find(pattern, text)
        }

    def find(self, pattern: dict[str, str], text: str) -> list[str]:
        return re.findall(pattern[self.language], text, re.IGNORECASE)


@cache
def plan(joints: str, reinforcement: str = "none") -> tuple[JobRecord, CureSchedule]:
    """Plan the sample with such joints, and without a walk-through list of its own."""
    raw = tomllib.loads((SAMPLE / "job.toml").read_text("utf-8"))
    raw.pop("walkthrough")
    raw["slab"] |= {"joints": joints, "reinforcement": reinforcement}
    if joints == "none":
        del raw["slab"]["joint_spacing"]
    job, findings = examine_tables(raw, FolderFiles(SAMPLE))
    assert job is not None, findings
    issued = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
    weather = read_weather(SAMPLE / "weather.csv", site=job.site)
    return job, plan_cure(job, weather, issued, members=8)


@cache
def papers_of(joints: str, language: str) -> Papers:
    wording = Wording(*plan(joints), language=language)
    letter = message_from_bytes(compose_message(wording, {}), policy=default).get_body(("plain",))
    assert letter is not None
    return Papers(
        joints,
        language,
        seen(care_sheet_html(wording)),
        seen(care_page_html(wording)),
        letter.get_content(),
        events(owner_calendar(wording)),
        events(crew_calendar(wording)),
        seen(data_sheet_html(wording)).replace("slab.joints", ""),  # the field of the record, as recorded
    )


@pytest.fixture(params=METHODS)
def joints(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(params=languages())
def papers(joints: str, request: pytest.FixtureRequest) -> Papers:
    return papers_of(joints, request.param)


def seen(html: str) -> str:
    text = re.sub(r"<style.*?</style>|<[^>]+>", " ", html, flags=re.DOTALL)
    return " ".join(text.split())


def events(calendar: bytes) -> str:
    each = icalendar.Calendar.from_ical(calendar).walk("VEVENT")
    return "\n".join(f"{event['SUMMARY']}\n{event['DESCRIPTION']}" for event in each)


def test_only_of_a_slab_with_joints_joints_are_read(papers: Papers) -> None:
    """The crack in a joint, the walk-through and their spacing stand on the sheet and the page."""
    jointed = {"sheet", "page", "crew"}
    found = papers.having(JOINT)
    assert found >= jointed if papers.joints != "none" else not found


def test_a_saw_is_read_of_only_where_one_comes(papers: Papers) -> None:
    found = papers.having(SAW)
    assert found >= {"sheet", "page", "crew", "data"} if papers.joints in SAWN else not found


def test_the_words_of_the_dust_fit_the_saw(papers: Papers) -> None:
    """A saw cuts dry or wet, in frost dry alone: the water of the crew is no promise."""
    both = {"en": r"cuts with water or a vacuum\.", "es": r"corta con agua o aspiradora\."}
    assert bool(papers.find(both, papers.sheet)) == (papers.joints in SAWN)


@pytest.mark.parametrize("language", languages())
def test_tendons_withhold_only_a_cut_that_was_meant(joints: str, language: str) -> None:
    job, schedule = plan(joints, "post-tensioning tendons")
    withheld = {each.kind for each in schedule.refusals}
    assert ("saw-joints" in withheld) == (joints in SAWN)
    assert "light-vehicles" in withheld
    title = Wording(job, schedule, language=language).say("milestone.saw-joints.title")
    sheet = seen(care_sheet_html(Wording(job, schedule, language=language)))
    assert (f"{title}:" in sheet) == (joints in SAWN)


def test_an_early_entry_saw_has_the_only_window(joints: str) -> None:
    _, schedule = plan(joints)
    windows = [each.saw for each in schedule.joints.windows] if schedule.joints else []
    expected = {"sawn": ["early-entry", "conventional"], "early-entry": ["early-entry"]}
    assert windows == expected.get(joints, [])


def test_joints_that_are_not_there_have_no_spacing() -> None:
    raw = tomllib.loads((SAMPLE / "job.toml").read_text("utf-8"))
    raw["slab"]["joints"] = "none"
    job, findings = examine_tables(raw, FolderFiles(SAMPLE))
    assert job is None
    [(path, finding)] = [each for each in findings if each[1].severity == "fault"]
    assert path == ("slab", "joint_spacing")
    assert finding.problem == 'is 10 ft (3.048 m), but joints is "none"'
