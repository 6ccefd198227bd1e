"""The office's pages: who may see them, people and invitations, the trail."""

from __future__ import annotations

import ast
import html
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from handover.documents.translations import load_translations
from handover.service.desk import people
from handover.service.desk.people import NewPerson

if TYPE_CHECKING:
    from starlette.applications import Starlette

    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person
    from tests.desk.conftest import Ask

PASSWORD = "wet all day long"  # noqa: S105
PAGES = ("/office", "/office/people", "/office/trail")


@pytest.fixture
def office(visitor: TestClient, firm_owner: Person) -> TestClient:
    """Return a browser in which the owner of the firm is signed in."""
    visitor.post("/sign-in", data={"login": firm_owner.login, "password": PASSWORD})
    return visitor


def browser_of(app: Starlette, desk: Desk, by: Person, role: people.Role) -> TestClient:
    """Return a browser in which somebody new is signed in."""
    new = NewPerson("Bo", f"bo-{role}", PASSWORD)
    people.accept_invitation(desk, people.invite(desk, role, by), new)
    browser = TestClient(app, follow_redirects=False)
    browser.post("/sign-in", data={"login": new.login, "password": PASSWORD})
    return browser


@pytest.mark.parametrize("path", PAGES)
def test_the_office_is_for_the_office(
    desk_app: Starlette, desk: Desk, firm_owner: Person, visitor: TestClient, path: str
) -> None:
    asked = visitor.get(path)
    assert (asked.status_code, asked.headers["location"]) == (303, f"/sign-in?next={path}")
    assert browser_of(desk_app, desk, firm_owner, "crew").get(path).status_code == 403
    assert browser_of(desk_app, desk, firm_owner, "office").get(path).status_code in {200, 303}


def test_somebody_is_invited_and_joins(office: TestClient, desk_app: Starlette) -> None:
    answer = office.post("/office/people", data={"invite": "crew"})
    (address,) = re.findall(r"http://testserver(/join/[\w-]+)", answer.text)
    assert "Invitations that nobody has used: 1" in office.get("/office/people").text
    assert address not in office.get("/office/people").text
    new = TestClient(desk_app, follow_redirects=False)
    assert "Piedmont Flatwork" in new.get(address).text
    joined = new.post(address, data={"name": "Cy <b>", "login": "cy", "password": PASSWORD})
    assert joined.headers["location"] == "/crew"
    assert "Cy &lt;b&gt;" in office.get("/office/people").text


def test_an_account_is_closed_by_the_owner_alone(
    office: TestClient, desk_app: Starlette, desk: Desk, firm_owner: Person
) -> None:
    bo = browser_of(desk_app, desk, firm_owner, "office")
    (number,) = [each.number for each in people.people(desk) if each.login == "bo-office"]
    refused = bo.post("/office/people", data={"close": str(firm_owner.number)})
    assert refused.status_code == 422
    assert office.post("/office/people", data={"close": str(number)}).status_code == 303
    assert bo.get("/office/people").headers["location"].startswith("/sign-in")


@pytest.mark.parametrize("form", [{}, {"close": "x"}, {"close": "99"}, {"invite": "king"}])
def test_a_form_that_nobody_sends_does_nothing(office: TestClient, form: dict[str, str]) -> None:
    assert office.post("/office/people", data=form).status_code == 422


def test_the_language_of_a_person_stays(office: TestClient) -> None:
    office.post("/language", data={"language": "es", "next": "/office/people"})
    assert '<html lang="es">' in office.get("/office/people").text
    office.post("/language", data={"language": "xx", "next": "/office/people"})
    assert '<html lang="es">' in office.get("/office/people").text


@pytest.mark.parametrize("path", PAGES)
def test_the_pages_have_no_inline_style_or_script(office: TestClient, path: str) -> None:
    text = html.unescape(office.get(path).text)
    assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]*\ssrc=)", text)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_code_of_the_trail_and_every_refusal_has_words(language: str) -> None:
    words = load_translations(language)
    codes: set[tuple[str, str]] = set()
    for file in (Path(people.__file__).parent).glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                place = {"write_audit": 3, "DeskRefusal": 0}.get(node.func.id)
                if place is not None and isinstance(node.args[place], ast.Constant):
                    kind = "audit" if place else "refusal"
                    codes.add((kind, node.args[place].value))
    assert len(codes) > 10
    assert [each for each in codes if not words.has(f"desk.{each[0]}.{each[1]}")] == []


# ---- jobs -------------------------------------------------------------------------------------------

JOB = "2026-07-14-test-slab"
JOB_PAGE = f"/office/jobs/{JOB}"


def link_on(page: str) -> str:
    found = re.search(r"http://testserver(/o/[\w-]+)", page)
    return found[1] if found else ""


def test_a_published_issue_is_to_be_sent_until_somebody_sent_it(office: TestClient, ask: Ask) -> None:
    assert "Nothing is to be sent" in office.get("/office").text
    assert "No job yet" in office.get("/office").text
    ask("one")
    page = office.get("/office").text
    assert "Ana Prueba" in page
    assert "mailto:ana%40example.org?subject=" in page
    assert "not acknowledged" in page
    assert office.post(JOB_PAGE, data={"do": "sent", "next": "/office"}).headers["location"] == "/office"
    assert "Nothing is to be sent" in office.get("/office").text
    ask("two", at="2026-07-14T18:00:00-04:00")
    assert "Nothing is to be sent" not in office.get("/office").text


def test_jobs_are_found_by_words(office: TestClient, ask: Ask) -> None:
    ask("one")
    assert JOB in office.get("/office?q=prueba").text
    assert "No job has these words" in office.get("/office?q=nobody").text


def test_a_link_is_shown_renewed_and_withdrawn(office: TestClient, ask: Ask, visitor: TestClient) -> None:
    ask("one")
    first = link_on(office.get(JOB_PAGE).text)
    assert visitor.get(first).status_code == 200
    assert office.post(JOB_PAGE, data={"do": "renew"}).status_code == 303
    second = link_on(office.get(JOB_PAGE).text)
    assert visitor.get(first).status_code == 410
    assert visitor.get(second).status_code == 200
    office.post(JOB_PAGE, data={"do": "withdraw"})
    assert visitor.get(second).status_code == 410
    page = office.get(JOB_PAGE).text
    assert link_on(page) == ""
    assert "It has no link that works" in page
    trail = office.get("/office/trail").text
    assert "withdrew the link of a job" in trail


def test_what_the_owner_said_is_on_the_page_of_the_job(office: TestClient, ask: Ask) -> None:
    ask("one")
    assert "Nothing yet" in office.get(JOB_PAGE).text
    link = link_on(office.get(JOB_PAGE).text)
    (key, *_) = re.findall(r'name="tick" value="([^"]*)"', office.get(link).text)
    office.post(f"{link}/could-not", data={"task": key})
    office.post(f"{link}/acknowledge", data={"revision": "1", "name": "Ana Prueba"})
    page = office.get(JOB_PAGE).text
    assert "Ana Prueba has read issue 1" in page
    assert f"{key}: could not do it" in page
    assert f"{JOB}: {key}" in office.get("/office").text
    assert "not acknowledged" not in page


def test_jobs_are_for_the_office(
    office: TestClient, ask: Ask, desk_app: Starlette, desk: Desk, firm_owner: Person
) -> None:
    ask("one")
    crew = browser_of(desk_app, desk, firm_owner, "crew")
    assert crew.get(JOB_PAGE).status_code == 403
    assert crew.post(JOB_PAGE, data={"do": "withdraw"}).status_code == 403
    assert (
        TestClient(desk_app, follow_redirects=False).post(JOB_PAGE, data={"do": "renew"}).status_code == 303
    )
    assert len(re.findall("/o/", office.get(JOB_PAGE).text)) > 0
    assert office.get("/office/jobs/other").status_code == 404
    assert office.post("/office/jobs/other", data={"do": "renew"}).status_code == 404
    assert office.post(JOB_PAGE, data={"do": "burn"}).status_code == 422
