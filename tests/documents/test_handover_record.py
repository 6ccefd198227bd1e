"""What was looked at together, what the crew comes back for, and the owner's word in place of a signature."""

from __future__ import annotations

import io
import re
import subprocess
from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

import pikepdf
import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.pages import care_page_html, care_sheet_html, data_sheet_html, sheet_pdf
from handover.documents.schedule_json import schedule_json
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.jobs.record import SlabUse
from handover.practice.walkthrough import walkthrough_items
from handover.schedule.tasks import RUB_EDGES, WALK_THROUGH

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

ITEMS = (
    {"item": "Door line", "ok": True, "note": "straight"},
    {"item": "Edge by the tap", "ok": False, "note": "We patch it."},
    {"item": "Drain", "ok": False},
    {"item": "Slope"},
)
NASTY = '<b>Bold & "sons"</b> <script>alert(1)</script>'


def words(html: str) -> str:
    """Return what a reader sees of a page, in one line."""
    text = re.sub(r"<style.*?</style>|<[^>]+>", " ", html, flags=re.DOTALL)
    return " ".join(text.replace("&#39;", "'").replace("&amp;", "&").split())


def printed(pdf: bytes, *options: str) -> str:
    ran = subprocess.run(["pdftotext", *options, "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(ran.stdout.decode().split())


@pytest.fixture
def acknowledged(job_with: Any, job: JobRecord) -> JobRecord:
    time = job.placement.finished.replace(hour=14, minute=20)
    printed: JobRecord = job_with(
        acknowledgement={"name": "Rosa Delgado", "time": time, "remarks": "Seen the edge by the tap."}
    )
    return printed


# ---- what is looked at


@pytest.mark.parametrize("use", get_args(SlabUse))
@pytest.mark.parametrize("language", languages())
def test_a_record_without_a_list_prints_what_is_usual_to_tick(
    job_with: Any, schedule: CureSchedule, use: str, language: str
) -> None:
    job = job_with(walkthrough=(), slab={"use": use, "area": 80.0, "thickness": 0.1})
    wording = Wording(job, schedule, language=language)
    html = care_sheet_html(wording)
    for code in walkthrough_items(use):
        assert wording.say(f"look-at.{code}") in words(html)
    assert wording.say("sheet.walkthrough-blank") in words(html)
    assert html.partition('class="walk"')[2].count('class="box"') == 2 * len(walkthrough_items(use))


def test_a_record_with_a_list_prints_that_alone(job_with: Any, schedule: CureSchedule) -> None:
    job = job_with(walkthrough=ITEMS)
    html = care_sheet_html(Wording(job, schedule))
    printed = words(html.partition('class="walk"')[2])
    assert "Door line. straight Good" in printed
    assert "Edge by the tap. We patch it. To mend" in printed
    assert "Slope. Open" in printed
    assert "Marks left by the machine" not in printed
    assert 'class="box"' not in html.partition('class="walk"')[2]


def test_a_simple_sheet_stays_within_four_pages_with_the_usual_list(
    job_with: Any, schedule: CureSchedule
) -> None:
    pdf = sheet_pdf(care_sheet_html(Wording(job_with(walkthrough=()), schedule)))
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert len(opened.pages) <= 4
    assert "Anchor positions, as found" in printed(pdf)


# ---- what the crew comes back for


@pytest.mark.parametrize("make", [care_sheet_html, care_page_html])
def test_repairs_are_listed_with_the_return_visits(job_with: Any, schedule: CureSchedule, make: Any) -> None:
    printed = words(make(Wording(job_with(walkthrough=ITEMS), schedule)))
    _, _, after = printed.partition("The crew comes back")
    assert "To mend: Edge by the tap; Drain." in after[:400]
    assert "Door line" not in after[:400]


def test_it_stands_on_the_first_page(job_with: Any, schedule: CureSchedule) -> None:
    pdf = sheet_pdf(care_sheet_html(Wording(job_with(walkthrough=ITEMS), schedule)))
    assert "To mend: Edge by the tap; Drain." in printed(pdf, "-l", "1")


@pytest.mark.parametrize("language", languages())
def test_the_owner_sees_when_the_crew_patches_and_when_both_walk_the_slab(
    job_with: Any, schedule: CureSchedule, language: str
) -> None:
    """Seen: only in the crew's calendar; and a list was named that no page has by that name."""
    wording = Wording(job_with(walkthrough=ITEMS), schedule, language=language)
    [rub] = [each for each in wording.schedule.tasks if each.kind == RUB_EDGES]
    walks = {each.by: each for each in wording.schedule.tasks if each.kind == WALK_THROUGH}
    assert walks["owner"].start == walks["crew"].start
    hours, day = wording.speak.span(rub.start, rub.end), wording.speak.day(walks["crew"].start)
    for html in (care_sheet_html(wording), care_page_html(wording)):
        _, _, after = words(html).partition(wording.say("sheet.crew"))
        assert f"{wording.say('event.rub-edges.title')}: {hours}" in after[:1200]
        assert wording.say("sheet.crew-walk", day=day) in after[:1200]
        assert after.count(wording.say("sheet.walkthrough")) == 2  # beside the repairs, and as the heading


@pytest.mark.parametrize("language", languages())
def test_without_repairs_nothing_is_patched(job_with: Any, schedule: CureSchedule, language: str) -> None:
    wording = Wording(job_with(walkthrough=(ITEMS[0], ITEMS[3])), schedule, language=language)
    crew = " ".join(CareSheet(wording, {}).crew)
    assert wording.say("event.rub-edges.title") not in crew
    assert wording.say("sheet.crew-walk", day="").partition(":")[0] in crew


def test_without_repairs_nothing_is_printed(job_with: Any, schedule: CureSchedule) -> None:
    job = job_with(walkthrough=(ITEMS[0], ITEMS[3]))
    assert not any("mend" in line for line in CareSheet(Wording(job, schedule), {}).crew)


def test_it_is_printed_even_if_the_crew_has_no_other_visit(job_with: Any, schedule: CureSchedule) -> None:
    job = job_with(walkthrough=ITEMS)
    assert len(CareSheet(Wording(job, replace(schedule, milestones=())), {}).crew) == 1


# ---- the owner's word


@pytest.mark.parametrize("language", languages())
def test_a_sheet_without_the_owner_s_word_has_two_lines_to_sign(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    wording = Wording(job, schedule, language=language)
    printed = words(care_sheet_html(wording))
    assert printed.count(wording.say("sheet.sign-line")) == 2


@pytest.mark.parametrize("language", languages())
def test_the_owners_acknowledgement_replaces_a_signature(
    acknowledged: JobRecord, schedule: CureSchedule, language: str
) -> None:
    wording = Wording(acknowledged, schedule, language=language)
    printed = words(care_sheet_html(wording))
    assert printed.count(wording.say("sheet.sign-line")) == 1  # the crew's
    hour = wording.speak.hour(acknowledged.acknowledgement.time)
    for said in ("Rosa Delgado", hour, "2026", "Seen the edge by the tap."):
        assert said in printed.partition(wording.say("sheet.sign-owner"))[2]


def test_the_page_and_the_data_sheet_show_it_too(acknowledged: JobRecord, schedule: CureSchedule) -> None:
    page = words(care_page_html(Wording(acknowledged, schedule)))
    assert "Rosa Delgado, 2:20 in the afternoon, Tuesday, July 14, 2026" in page
    office = words(data_sheet_html(Wording(acknowledged, schedule)))
    for name, value in (
        ("acknowledgement.name", "Rosa Delgado"),
        ("acknowledgement.time", "Tue Jul 14, 2:20 pm"),
        ("acknowledgement.remarks", "Seen the edge by the tap."),
    ):
        assert f"{name} {value}" in office


def test_the_dates_know_nothing_of_it(schedule: CureSchedule) -> None:
    assert b"acknowledg" not in schedule_json(schedule)


def test_it_is_text_and_never_markup(job_with: Any, job: JobRecord, schedule: CureSchedule) -> None:
    word = {"name": NASTY, "time": job.placement.finished, "remarks": NASTY}
    printed = job_with(acknowledgement=word, walkthrough=({"item": NASTY, "ok": False, "note": NASTY},))
    wording = Wording(printed, schedule)
    for make in (care_sheet_html, care_page_html, data_sheet_html):
        html = make(wording)
        assert "<script>alert" not in html
        assert "<b>Bold" not in html
        assert "&lt;script&gt;alert(1)" in html
