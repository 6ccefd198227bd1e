"""From the crew's card to the archive: who may, what is filed, what the next card knows."""

from __future__ import annotations

import json
import re
from io import BytesIO
from typing import TYPE_CHECKING

import pytest
from PIL import Image
from starlette.testclient import TestClient

from handover.errors import DownloadFailed
from handover.service.desk import people
from handover.service.desk.card_store import CardStore
from handover.service.desk.people import NewPerson
from handover.service.desk.requests import outcome_of
from handover.service.desk.visit_ticks import ticks_of_visits
from handover.service.job_inputs import WeatherFile

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.applications import Starlette

    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person
    from tests.desk.conftest import DeskClock, WorkAtOnce

PASSWORD = "wet all day long"  # noqa: S105
JOB = "2026-07-14-12-alder-lane"
DAY = {
    "owner.name": "Lee Park",
    "owner.phone": "336-555-0117",
    "site.address": "12 Alder Lane, Greensboro NC",
    "site.latitude": "36.10, -79.95",
    "contractor.name": "Piedmont Flatwork",
    "contractor.phone": "336-555-0142",
    "slab.use": "garage floor",
    "slab.length": "34 ft",
    "slab.width": "26 ft",
    "slab.thickness": "4 in",
    "placement.start": "2026-07-14T06:40",
    "placement.end": "2026-07-14T08:05",
    "placement.finished": "2026-07-14T12:10",
    "mix.specified_strength": "3000 psi",
    "mix.supplier": "Copper Kettle Ready Mix",
    "curing.method": "sprinkler",
    "curing.available": "06:00-07:30, 12:00-13:00, 17:00-21:30",
    "walkthrough[joints].ok": "no",
    "walkthrough[joints].note": "One edge is rough; the crew comes back.",
}


def sign_in_as(desk: Desk, app: Starlette, by: Person, role: people.Role, login: str) -> TestClient:
    """Return a browser in which somebody new is signed in."""
    secret = people.invite(desk, role, by)
    people.accept_invitation(desk, secret, NewPerson(login.title(), login, PASSWORD))
    found = TestClient(app, follow_redirects=False)
    assert found.post("/sign-in", data={"login": login, "password": PASSWORD}).status_code == 303
    return found


@pytest.fixture
def crew(desk: Desk, desk_app: Starlette, firm_owner: Person) -> TestClient:
    return sign_in_as(desk, desk_app, firm_owner, "crew", "ines")


@pytest.fixture
def forecast(
    monkeypatch: pytest.MonkeyPatch, desk_work: WorkAtOnce, hourly: Callable[..., dict[str, object]]
) -> None:
    """Have a forecast without network, and cheap documents."""
    answer = WeatherFile("weather.json", json.dumps(hourly()).encode())
    monkeypatch.setattr("handover.service.desk.issue_steps.download_weather", lambda *_, **__: answer)
    assert desk_work


def jpeg() -> bytes:
    out = BytesIO()
    Image.new("RGB", (40, 30), "grey").save(out, "JPEG")
    return out.getvalue()


def fill(crew: TestClient, card: str, texts: dict[str, str]) -> None:
    crew.post(f"/crew/card/{card}", data={"base": "0", "key": f"form-{card}", **texts})


def test_nobody_sees_the_crews_pages_unless_signed_in(visitor: TestClient) -> None:
    for path in ("/crew", "/crew/new", "/crew/card/card0001", "/crew/card/card0001/handover"):
        assert visitor.get(path).headers["location"].startswith("/sign-in")
    body = {"phone": "phone001", "base": 0, "at": "2026-07-14T10:00:00Z", "entries": {"owner.name": "x"}}
    sent = visitor.post("/crew/card/card0001/changes", json=body, headers={"Idempotency-Key": "change-0001"})
    assert sent.headers["location"].startswith("/sign-in")
    photo = {"Idempotency-Key": "photo-0001"}
    for way in ("photos?about=slab", "signature/owner"):
        answer = visitor.post(f"/crew/card/card0001/{way}", content=b"{}", headers=photo)
        assert answer.headers["location"].startswith("/sign-in")


def test_nothing_of_a_visitor_is_kept(visitor: TestClient, desk: Desk) -> None:
    visitor.post("/crew/card/card0001", data={"base": "0", "key": "form-0001", **DAY})
    assert not CardStore(desk.engine).open_cards()


def test_another_site_cannot_make_a_browser_send(crew: TestClient, desk: Desk) -> None:
    form = {"base": "0", "key": "form-0001", **DAY}
    refused = crew.post("/crew/card/card0001", data=form, headers={"Sec-Fetch-Site": "cross-site"})
    assert refused.status_code == 403
    assert not CardStore(desk.engine).open_cards()


@pytest.mark.usefixtures("forecast")
def test_a_card_becomes_papers_in_the_archive(crew: TestClient, desk: Desk) -> None:
    fill(crew, "card0001", {**DAY, "acknowledgement.name": "Lee Park"})
    crew.post(
        "/crew/card/card0001/photos?about=walkthrough[joints]",
        content=jpeg(),
        headers={"Idempotency-Key": "photo-0001"},
    )
    crew.post(
        "/crew/card/card0001/photos?about=slab", content=jpeg(), headers={"Idempotency-Key": "photo-0002"}
    )
    crew.post(
        "/crew/card/card0001/signature/owner",
        json={"strokes": [[[1, 2], [3, 4]]]},
        headers={"Idempotency-Key": "sign-0001"},
    )
    assert "Write the papers" in crew.get("/crew/card/card0001/handover").text
    for _ in range(2):
        crew.post("/crew/card/card0001/handover", data={"key": "request-0001"})
    outcome = outcome_of(desk, "crew-request-0001")
    assert outcome is not None
    assert (outcome.state, outcome.job, outcome.revision) == ("published", JOB, 1), outcome.findings
    bag = desk.archive.bag(JOB)
    assert bag.revisions == (1,)
    assert bag.entry.owner == "Lee Park"
    assert b'points="1,2 3,4"' in bag.read("data/beside/signature-owner.svg")
    assert bag.read("data/beside/photos/slab-2.jpg").startswith(b"\xff\xd8")
    assert any(name.endswith("photos/walkthrough-1.jpg") for name in bag.issue(1))


@pytest.mark.usefixtures("forecast")
def test_the_crew_reads_the_papers_before_it_hands_them_over(crew: TestClient) -> None:
    fill(crew, "card0001", DAY)
    crew.post("/crew/card/card0001/handover", data={"key": "request-0001"})
    page = crew.get("/crew/card/card0001/handover").text
    assert "What the owner reads first" in page
    assert "Start watering" in page
    assert page.index("What the crew must still do") < page.index("sms:3365550117")
    assert crew.get("/crew/card/card0001/crew-sheet.pdf").headers["content-type"] == "application/pdf"
    assert "12 Alder Lane" in crew.get("/crew").text


@pytest.mark.usefixtures("forecast")
def test_the_next_card_knows_what_the_last_job_said(crew: TestClient) -> None:
    assert "Copper Kettle" not in crew.get("/crew/new").text
    fill(crew, "card0001", DAY)
    crew.post("/crew/card/card0001/handover", data={"key": "request-0001"})
    page = crew.get("/crew/new").text
    assert 'name="mix.supplier" type="text" value="Copper Kettle Ready Mix"' in page
    assert 'value="06:00-07:30, 12:00-13:00, 17:00-21:30"' in page


@pytest.mark.usefixtures("forecast")
def test_todays_visits_are_on_the_page_of_the_crew_and_are_ticked(
    crew: TestClient, desk: Desk, desk_clock: DeskClock
) -> None:
    fill(crew, "card0001", DAY)
    crew.post("/crew/card/card0001/handover", data={"key": "request-0001"})
    desk_clock.go_on(hours=24)
    page = crew.get("/crew").text
    assert 'class="visit' in page
    forms = re.findall(r'name="job" value="([^"]*)"><input type="hidden" name="visit" value="([^"]*)"', page)
    job, visit = forms[0]
    assert job == JOB
    for _ in range(2):
        crew.post("/crew/visits", data={"job": job, "visit": visit})
    page = crew.get("/crew").text
    assert page.count("Done 12:30") == 1
    assert page.count('name="visit"') == len(forms) - 1
    crew.post("/crew/visits", data={"job": "no-such-job", "visit": visit})
    assert not ticks_of_visits(desk, ["no-such-job"])
    assert 'href="tel:3365550117"' in page


def test_a_forecast_that_cannot_be_downloaded_is_said_and_may_be_tried_again(
    crew: TestClient, monkeypatch: pytest.MonkeyPatch, desk: Desk
) -> None:
    def fail(*_: object, **__: object) -> WeatherFile:
        raise DownloadFailed("the forecast service does not respond")

    monkeypatch.setattr("handover.service.desk.issue_steps.download_weather", fail)
    fill(crew, "card0001", DAY)
    crew.post("/crew/card/card0001/handover", data={"key": "request-0001"})
    page = crew.get("/crew/card/card0001/handover").text
    assert "the forecast service does not respond" in page
    assert "Write the papers" in page
    assert desk.archive.bag_or_none(JOB) is None


def test_the_link_is_the_same_each_time(crew: TestClient) -> None:
    fill(crew, "card0001", {"owner.name": "Lee Park"})
    first, second = (crew.get("/crew/card/card0001/handover").text for _ in range(2))
    assert first.partition("/o/")[2][:22] == second.partition("/o/")[2][:22] != ""


@pytest.mark.usefixtures("forecast")
def test_the_link_says_what_is_known_and_becomes_the_page_by_itself(
    crew: TestClient, visitor: TestClient
) -> None:
    fill(crew, "card0001", {**DAY, "owner.language": "es"})
    page = crew.get("/crew/card/card0001/handover").text
    path = "/o/" + page.partition("/o/")[2][:22]
    early = visitor.get(path).text
    assert 'lang="es"' in early
    assert "No pise la losa" in early
    assert 'href="tel:3365550142"' in early
    assert '<meta http-equiv="refresh"' in early
    crew.post("/crew/card/card0001/handover", data={"key": "request-0001"})
    later = visitor.get(path).text
    assert '<meta http-equiv="refresh"' not in later
    assert "piso de garaje" in later


def test_two_people_have_two_languages(
    crew: TestClient, desk: Desk, desk_app: Starlette, firm_owner: Person
) -> None:
    other = sign_in_as(desk, desk_app, firm_owner, "crew", "tom")
    crew.post("/language", data={"language": "es", "next": "/crew"})
    assert "Losa nueva" in crew.get("/crew").text
    assert "New slab" in other.get("/crew").text
