"""The owner's page: now and next, ticks that stay, calendars, the sheet, what changed, acknowledgement."""

from __future__ import annotations

import gzip
import html
import json
import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from icalendar import Calendar

from handover.desk.page_cache import PageCache
from handover.desk.static_files import static_files
from handover.documents.schedule_json import read_schedule
from handover.schedule.now_and_next import owner_work, task_key
from handover.service.desk.attempts import RateLimit
from handover.service.desk.audit import read_audit
from handover.service.desk.owner_links import renew_link, require_link, withdraw_link
from handover.service.desk.owner_pages import (
    acknowledge,
    archive_acknowledgement,
    change_ticks,
    missed_tasks,
    open_acknowledgements,
    ticks_of,
)

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from handover.schedule.model import CureSchedule
    from handover.service.desk.database import Desk
    from tests.desk.conftest import Ask, DeskClock

JOB = "2026-07-14-test-slab"
MAX_WIRE_BYTES = 60_000
"""Bytes of the page with all that it needs: readable on a slow network."""


def schedule_of(desk: Desk) -> CureSchedule:
    bag = desk.archive.bag(JOB)
    return read_schedule(bag.issue(bag.revisions[-1])["schedule.json"])


def seen_text(page: str) -> str:
    return " ".join(html.unescape(re.sub("<[^>]*>", " ", page)).split())


def now_text(page: str) -> str:
    return seen_text(page[page.index('id="now"') : page.index('<section class="call"')])


# ---- the page ---------------------------------------------------------------------------------------


def test_the_page_has_the_dates_and_words_of_the_saved_page(
    visitor: TestClient, issued_desk: Desk, owner_path: str
) -> None:
    """One story: what the care page of the set says of dates, waterings and dangers, this page says too."""
    page = seen_text(visitor.get(owner_path).text)
    saved = issued_desk.archive.bag(JOB).issue(1)["care-page.html"].decode()
    for heading, end in (("dates", "calendar"), ("<h2>What hurts people", "</section>")):
        part = saved[saved.index(heading) :]
        rows = re.findall(
            r'<span class="what">(.*?)</span>|<strong>(.*?)</strong>', part[: part.index(end, 99)]
        )
        for row in rows:
            assert seen_text("".join(row)) in page
    for row in re.findall(r'<span class="visit">.*?</span>', saved, re.DOTALL):
        assert seen_text(row).replace(" Add to calendar", "") in page


def test_now_and_next_follow_the_clock_of_the_desk(
    visitor: TestClient, issued_desk: Desk, owner_path: str, desk_clock: DeskClock
) -> None:
    work = owner_work(schedule_of(issued_desk))
    first, second = work[:2]
    desk_clock.at = first.start - timedelta(minutes=5)
    before = now_text(visitor.get(owner_path).text)
    assert "Nothing to do right now" in before
    assert "Today" in before
    assert "I could not" not in before
    desk_clock.at = first.start + timedelta(minutes=1)
    page = visitor.get(owner_path).text
    assert "Until" in now_text(page)
    assert "I could not do this" in now_text(page)
    (changes,) = re.findall(r'data-changes="([^"]*)"', page)
    assert first.start < datetime.fromisoformat(changes) <= second.start
    desk_clock.at = work[-1].end + timedelta(days=30)
    last = now_text(visitor.get(owner_path).text)
    assert "Nothing more to do each day" in last
    assert "Curing is done" in last


def test_visits_of_the_crew_leave_the_page_when_they_are_over(
    visitor: TestClient, issued_desk: Desk, owner_path: str, desk_clock: DeskClock
) -> None:
    """Seen: "Saw the joints: now" on the page of the day after."""
    [saw] = schedule_of(issued_desk).tasks_of("crew", "saw-joints")
    desk_clock.at = saw.end - timedelta(minutes=20)
    assert "Saw the joints: now" in visitor.get(owner_path).text
    desk_clock.at = saw.end + timedelta(minutes=1)
    page = visitor.get(owner_path).text
    assert "Saw the joints" not in page.partition("The crew comes back")[2].partition("</div>")[0]
    assert "The crew comes back" in page  # for the forms


def test_a_coat_is_left_alone_until_it_has_done_its_work(
    visitor: TestClient, desk: Desk, ask: Ask, record_text: str, desk_clock: DeskClock
) -> None:
    """What the issue says of the owner's part does not outlast it."""
    ask("one", record=record_text.replace('"sprinkler"', '"curing compound"'))
    path = f"/o/{require_link(desk, JOB, 'ana').token}"
    ends = [each.not_before for each in schedule_of(desk).milestones if each.kind == "curing-ends"]
    change_ticks(desk, JOB, [task_key(each) for each in owner_work(schedule_of(desk))], ())
    desk_clock.at = ends[0] - timedelta(hours=12)
    assert "Leave the coat alone" in now_text(visitor.get(path).text)
    desk_clock.at = ends[0] + timedelta(days=2)
    text = now_text(visitor.get(path).text)
    assert "Leave the coat alone" not in text
    assert "Curing is done" in text


def test_at_night_the_next_work_is_tomorrow(
    visitor: TestClient, issued_desk: Desk, owner_path: str, desk_clock: DeskClock
) -> None:
    desk_clock.at = datetime.fromisoformat("2026-07-14T22:30:00-04:00")
    text = now_text(visitor.get(owner_path).text)
    assert "Nothing more to do today" in text
    assert "Tomorrow, 6:30" in text
    assert schedule_of(issued_desk).timezone == "America/New_York"


def test_a_page_that_was_kept_is_the_one_that_is_made_anew(
    visitor: TestClient, owner_path: str, desk_clock: DeskClock, issued_desk: Desk, desk_app: Starlette
) -> None:
    """At hours around each task, after others were shown, the page is what a desk shows that begins then."""
    for task in owner_work(schedule_of(issued_desk))[:3]:
        for minutes in (-1, 0, 1):
            desk_clock.at = task.start + timedelta(minutes=minutes)
            kept = [visitor.get(owner_path).text for _ in range(2)]
            desk_app.state.pages = PageCache()
            assert {*kept, visitor.get(owner_path).text} == {kept[0]}
    desk_clock.at = owner_work(schedule_of(issued_desk))[0].start - timedelta(minutes=1)
    assert "Nothing to do right now" in now_text(visitor.get(owner_path).text), "a clock that was set back"


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_page_is_small_and_has_no_inline_style_or_script(
    visitor: TestClient, owner_path: str, language: str
) -> None:
    answer = visitor.get(f"{owner_path}?language={language}")
    page = answer.text
    assert f'<html lang="{language}">' in page
    assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]*\ssrc=)|javascript:", page)
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert "noindex" in answer.headers["x-robots-tag"]
    assert "set-cookie" not in answer.headers
    fonts = [each for each in static_files().values() if each.address.endswith(".woff")]
    files = [*fonts, *(each for each in static_files().values() if each.address in page)]
    wire = len(gzip.compress(page.encode())) + sum(len(each.packed or each.content) for each in files)
    assert wire < MAX_WIRE_BYTES
    assert not re.findall(r'(?:src|<link[^>]*href)="(?:https?:)?//', page), "nothing of a third party"


def test_the_page_comes_packed(visitor: TestClient, owner_path: str) -> None:
    assert visitor.get(owner_path, headers={"accept-encoding": "gzip"}).headers["content-encoding"] == "gzip"


def test_a_link_is_there_before_the_papers(visitor: TestClient, desk: Desk, ask: Ask) -> None:
    token = require_link(desk, JOB, "ana").token
    waiting = visitor.get(f"/o/{token}")
    assert waiting.status_code == 200
    assert "Keep off the slab" in waiting.text
    assert visitor.get(f"/o/{token}/owner.ics").status_code == 404
    ask("one")
    assert "What may happen when" in visitor.get(f"/o/{token}").text


def test_a_link_that_was_withdrawn_or_guessed_opens_nothing(
    visitor: TestClient, issued_desk: Desk, owner_path: str
) -> None:
    paths = ("", "/owner.ics", "/care-sheet.pdf", "/care-page.html", "/e/foot-traffic.ics")
    assert {visitor.get(f"{owner_path}{each}").status_code for each in paths} == {200}
    renewed = f"/o/{renew_link(issued_desk, JOB, 'ana').token}"
    assert {visitor.get(f"{owner_path}{each}").status_code for each in paths} == {410}
    assert visitor.get(renewed).status_code == 200
    withdraw_link(issued_desk, JOB, "ana")
    assert visitor.get(renewed).status_code == 410
    for path in ("/o/x", f"/o/{'A' * 22}", f"/o/{'A' * 22}/owner.ics"):
        assert visitor.get(path).status_code == 410
    posts = ("ticks", "could-not", "seen", "acknowledge")
    assert {visitor.post(f"{owner_path}/{each}").status_code for each in posts} == {410}


def test_guesses_of_links_are_limited(
    visitor: TestClient, monkeypatch: pytest.MonkeyPatch, owner_path: str
) -> None:
    monkeypatch.setattr("handover.desk.owner.SIGN_INS_OF_PLACE", RateLimit(2, 600))
    assert [visitor.get(f"/o/{each}").status_code for each in range(3)] == [410, 410, 429]
    assert visitor.get(owner_path).status_code == 200, "who has the link sees the page"


# ---- calendars and papers ---------------------------------------------------------------------------


def test_the_feed_is_one_to_subscribe_to(visitor: TestClient, issued_desk: Desk, owner_path: str) -> None:
    answer = visitor.get(f"{owner_path}/owner.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    text = answer.content.decode()
    assert "\r\nREFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n" in text
    assert "\r\nX-PUBLISHED-TTL:PT1H\r\n" in text
    unfolded = text.replace("\r\n ", "")
    assert f"\r\nSOURCE;VALUE=URI:http://testserver{owner_path}/owner.ics\r\n" in unfolded
    assert f"\r\nURL:http://testserver{owner_path}\r\n" in unfolded
    feed = Calendar.from_ical(answer.content)
    assert str(feed["name"]) == str(feed["x-wr-calname"]) == "Slab care: Test slab"
    file = Calendar.from_ical(issued_desk.archive.bag(JOB).issue(1)["owner.ics"])
    assert [each.to_ical() for each in feed.events] == [each.to_ical() for each in file.events]
    assert feed["uid"] == file["uid"]


def test_a_feed_that_did_not_change_is_not_sent_again(visitor: TestClient, owner_path: str) -> None:
    first = visitor.get(f"{owner_path}/owner.ics")
    tag = first.headers["etag"]
    for known in (tag, f'"other", {tag}', f"W/{tag}", "*"):
        again = visitor.get(f"{owner_path}/owner.ics", headers={"If-None-Match": known})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert visitor.get(f"{owner_path}/owner.ics", headers={"If-None-Match": '"other"'}).status_code == 200


def test_events_keep_their_ids_and_the_feed_its_name_in_the_next_issue(
    visitor: TestClient, desk: Desk, ask: Ask
) -> None:
    ask("one")
    path = f"/o/{require_link(desk, JOB, 'ana').token}"
    first = visitor.get(f"{path}/owner.ics")
    ask("two", at="2026-07-15T12:00:00-04:00")
    second = visitor.get(f"{path}/owner.ics", headers={"If-None-Match": first.headers["etag"]})
    assert second.status_code == 200
    one, two = Calendar.from_ical(first.content), Calendar.from_ical(second.content)
    assert one["name"] == two["name"]
    assert {str(each["uid"]) for each in one.events} & {str(each["uid"]) for each in two.events}
    assert {int(each["sequence"]) for each in two.events} == {2}


def test_each_event_has_an_address(visitor: TestClient, owner_path: str) -> None:
    page = visitor.get(owner_path).text
    paths = set(re.findall(rf'href="({owner_path}/e/[^"]+)"', page))
    assert len(paths) > 8
    for path in paths:
        answer = visitor.get(path)
        assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
        assert len(Calendar.from_ical(answer.content).events) == 1
    assert visitor.get(f"{owner_path}/e/none.ics").status_code == 404
    assert 'download="' not in page
    assert "data:text/calendar" not in page


def test_the_papers_are_those_of_the_archive(visitor: TestClient, issued_desk: Desk, owner_path: str) -> None:
    documents = issued_desk.archive.bag(JOB).issue(1)
    sheet = visitor.get(f"{owner_path}/care-sheet.pdf")
    assert sheet.content == documents["care-sheet.pdf"]
    assert sheet.headers["content-type"] == "application/pdf"
    copy = visitor.get(f"{owner_path}/care-page.html")
    assert copy.content == documents["care-page.html"]
    assert copy.headers["content-disposition"].startswith("attachment")
    tag = {"If-None-Match": sheet.headers["etag"]}
    assert visitor.get(f"{owner_path}/care-sheet.pdf", headers=tag).status_code == 304


# ---- what the owner says ----------------------------------------------------------------------------


def boxes(page: str) -> dict[str, bool]:
    found = re.findall(r'<input type="checkbox" class="box" name="tick" value="([^"]*)"( checked)?', page)
    return {html.unescape(value): bool(state) for value, state in found}


def test_ticks_stay_and_are_the_tasks_of_the_schedule(
    visitor: TestClient, issued_desk: Desk, owner_path: str
) -> None:
    before = boxes(visitor.get(owner_path).text)
    keys = {task_key(each) for each in owner_work(schedule_of(issued_desk))}
    assert set(before) <= keys
    assert not any(before.values())
    one, two, *_ = before
    sent = visitor.post(f"{owner_path}/ticks", data={"before": "", "tick": [one, two]})
    assert (sent.status_code, sent.headers["location"]) == (303, f"{owner_path}#watering")
    page = visitor.get(owner_path).text
    assert {key for key, state in boxes(page).items() if state} == {one, two}
    (shown,) = re.findall(r'name="before" value="([^"]*)"', page)
    assert set(shown.splitlines()) == {one, two}
    visitor.post(f"{owner_path}/ticks", data={"before": shown, "tick": [two]})
    assert {key for key, state in boxes(visitor.get(owner_path).text).items() if state} == {two}


def test_two_phones_do_not_undo_each_other(visitor: TestClient, owner_path: str) -> None:
    one, two, *_ = boxes(visitor.get(owner_path).text)
    visitor.post(f"{owner_path}/ticks", data={"before": "", "tick": [one]})
    visitor.post(f"{owner_path}/ticks", data={"before": "", "tick": [two]})  # from a page without the first
    assert {key for key, state in boxes(visitor.get(owner_path).text).items() if state} == {one, two}


def test_a_tick_that_no_box_has_is_not_kept(visitor: TestClient, issued_desk: Desk, owner_path: str) -> None:
    visitor.post(f"{owner_path}/ticks", data={"before": "", "tick": ["x" * 5000, "watering 1999-01-01 1"]})
    assert ticks_of(issued_desk, JOB) == {}


def test_what_is_ticked_is_no_longer_now(
    visitor: TestClient, issued_desk: Desk, owner_path: str, desk_clock: DeskClock
) -> None:
    first = owner_work(schedule_of(issued_desk))[0]
    desk_clock.at = first.start + timedelta(minutes=1)
    assert "I could not" in now_text(visitor.get(owner_path).text)
    visitor.post(f"{owner_path}/ticks", data={"before": "", "tick": [task_key(first)]})
    assert "I could not" not in now_text(visitor.get(owner_path).text)


def test_who_could_not_water_reads_what_to_do_and_the_firm_sees_it(
    visitor: TestClient, issued_desk: Desk, owner_path: str, desk_clock: DeskClock
) -> None:
    first = owner_work(schedule_of(issued_desk))[0]
    desk_clock.at = first.start + timedelta(minutes=1)
    page = visitor.get(owner_path).text
    (key,) = re.findall(r'name="task" value="([^"]*)"', page)
    assert key == task_key(first)
    visitor.post(f"{owner_path}/could-not", data={"task": key})
    text = now_text(visitor.get(owner_path).text)
    assert "You could not do this" in text
    assert "as soon as you can" in text
    assert [(each.job, each.task) for each in missed_tasks(issued_desk)] == [(JOB, key)]
    assert read_audit(issued_desk)[0].what == "could-not"
    visitor.post(f"{owner_path}/ticks", data={"before": "", "tick": [key]})
    assert "You could not" not in now_text(visitor.get(owner_path).text)
    assert missed_tasks(issued_desk) == ()
    assert visitor.post(f"{owner_path}/could-not", data={"task": "dance"}).status_code == 422


def test_too_many_posts_are_refused(
    visitor: TestClient, owner_path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handover.service.desk.owner_pages.OWNER_POSTS", RateLimit(1, 3600))
    one, *_ = boxes(visitor.get(owner_path).text)
    post = {"before": "", "tick": [one]}
    answers = [visitor.post(f"{owner_path}/ticks", data=post) for _ in range(2)]
    assert [each.status_code for each in answers] == [303, 429]
    assert int(answers[1].headers["retry-after"]) > 0


def test_what_changed_is_on_top_until_it_was_seen(
    visitor: TestClient, desk: Desk, ask: Ask, record_text: str
) -> None:
    ask("one")
    path = f"/o/{require_link(desk, JOB, 'ana').token}"
    assert "I have seen what changed" not in visitor.get(path).text
    later = record_text.replace("T12:10:00", "T13:40:00").replace('"84 degF"', '"55 degF"')
    ask("two", at="2026-07-14T14:30:00-04:00", record=later)
    page = visitor.get(path).text
    assert "I have seen what changed" in page
    assert page.index('class="aside changes"') < page.index('class="banner"')
    assert visitor.post(f"{path}/seen").status_code == 303
    assert 'class="aside changes"' not in visitor.get(path).text


def test_an_acknowledgement_is_archived_with_time_and_revision(
    visitor: TestClient, issued_desk: Desk, owner_path: str
) -> None:
    assert "Tell us that you have read it" in visitor.get(owner_path).text
    empty = visitor.post(f"{owner_path}/acknowledge", data={"revision": "1", "name": "  "})
    assert empty.status_code == 422
    assert "Your name is missing" in empty.text
    data = {"revision": "1", "name": "Ana\nPrueba <b>"}
    assert visitor.post(f"{owner_path}/acknowledge", data=data).status_code == 303
    bag = issued_desk.archive.bag(JOB)
    (path,) = [each for each in bag.payload if "acknowledgement" in each]
    kept = json.loads(bag.read(path))
    at = issued_desk.now()
    assert kept == {"job": JOB, "revision": 1, "name": "Ana Prueba <b>", "time": at.isoformat()}
    assert path == "data/beside/acknowledgement-0001.json"
    assert bag.entry.acknowledged == at
    page = visitor.get(owner_path).text
    assert "Ana Prueba &lt;b&gt;" in page
    assert "Tell us that you have read it" not in page
    visitor.post(f"{owner_path}/acknowledge", data={"revision": "1", "name": "Eve Late"})
    assert "Eve Late" not in visitor.get(owner_path).text, "the first one counts"


def test_an_acknowledgement_that_a_kill_left_open_is_archived_once(issued_desk: Desk) -> None:
    acknowledge(issued_desk, JOB, 1, "Ana Prueba")
    assert [each.name for each in open_acknowledgements(issued_desk)] == ["Ana Prueba"]
    for _ in range(2):
        archive_acknowledgement(issued_desk, JOB, 1)
    assert open_acknowledgements(issued_desk) == ()
    assert len([each for each in issued_desk.archive.bag(JOB).payload if "acknowledgement" in each]) == 1


def test_a_later_issue_is_not_acknowledged_by_who_read_the_earlier(
    visitor: TestClient, desk: Desk, ask: Ask
) -> None:
    ask("one")
    path = f"/o/{require_link(desk, JOB, 'ana').token}"
    ask("two", at="2026-07-14T18:00:00-04:00")
    visitor.post(f"{path}/acknowledge", data={"revision": "1", "name": "Ana"})
    assert "Tell us that you have read it" in visitor.get(path).text


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_the_record_says_is_text(
    visitor: TestClient, desk: Desk, ask: Ask, record_text: str, language: str
) -> None:
    ask("one", record=record_text.replace('"Test slab"', '"<script>alert(1)</script>"'))
    path = f"/o/{require_link(desk, JOB, 'ana').token}"
    page = visitor.get(f"{path}?language={language}").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
