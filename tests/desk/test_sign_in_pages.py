"""Signing in by a browser: one-time links, cookies, other sites, headers."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from handover.desk.app import DeskAddress, create_app
from handover.desk.static_files import static_files
from handover.service.desk import people

if TYPE_CHECKING:
    from starlette.applications import Starlette

    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person

PASSWORD = "wet all day long"  # noqa: S105
FORM = {"firm": "Piedmont Flatwork", "name": "Ana", "login": "ana", "password": PASSWORD}
SIGN_IN = {"login": "ana", "password": PASSWORD}


def test_the_desk_says_that_it_runs(visitor: TestClient) -> None:
    answer = visitor.get("/healthz")
    assert (answer.status_code, answer.text) == (200, "ok")


def test_the_first_to_open_the_link_sets_up_the_firm(desk: Desk, visitor: TestClient) -> None:
    secret = people.renew_setup(desk)
    assert "handover serve" in visitor.get("/sign-in").text
    assert "Name of the firm" in visitor.get(f"/join/{secret}").text
    refused = visitor.post(f"/join/{secret}", data={**FORM, "password": "short"})
    assert refused.status_code == 422
    assert "too short" in refused.text
    assert 'value="Piedmont Flatwork"' in refused.text
    assert "short" not in re.findall('value="([^"]*)"', refused.text)
    joined = visitor.post(f"/join/{secret}", data=FORM)
    assert (joined.status_code, joined.headers["location"]) == (303, "/office")
    assert visitor.get(f"/join/{secret}").status_code == 410
    assert visitor.get("/").headers["location"] == "/office"


@pytest.mark.usefixtures("firm_owner")
def test_a_link_that_nobody_made_opens_nothing(visitor: TestClient) -> None:
    assert visitor.get("/join/guess").status_code == 410
    assert visitor.post("/join/guess", data=FORM).status_code == 410


@pytest.mark.usefixtures("firm_owner")
def test_signing_in_and_out(visitor: TestClient) -> None:
    assert visitor.get("/").headers["location"] == "/sign-in"
    wrong = visitor.post("/sign-in", data={**SIGN_IN, "password": "guess number one"})
    assert wrong.status_code == 401
    assert "is not right" in wrong.text
    assert visitor.post("/sign-in", data=SIGN_IN).headers["location"] == "/"
    assert visitor.get("/").headers["location"] == "/office"
    assert visitor.post("/sign-out").headers["location"] == "/sign-in"
    assert visitor.get("/").headers["location"] == "/sign-in"


@pytest.mark.usefixtures("firm_owner")
@pytest.mark.parametrize("after", ["//evil.example", "https://evil.example/", "/\\evil.example", "evil"])
def test_signing_in_leads_to_no_other_site(visitor: TestClient, after: str) -> None:
    assert visitor.post("/sign-in", data={**SIGN_IN, "next": after}).headers["location"] == "/"


@pytest.mark.usefixtures("firm_owner")
def test_the_cookie_is_hidden_from_scripts_and_other_sites(desk: Desk, desk_app: Starlette) -> None:
    plain = TestClient(desk_app, follow_redirects=False)
    cookie = plain.post("/sign-in", data=SIGN_IN).headers["set-cookie"]
    assert {"HttpOnly", "SameSite=lax", "Path=/"} <= set(cookie.split("; "))
    safe = TestClient(
        create_app(desk, DeskAddress("https://desk.example.com"), desk_app.state.work),
        "https://desk.example.com",
        follow_redirects=False,
    )
    cookie = safe.post("/sign-in", data=SIGN_IN).headers["set-cookie"]
    assert cookie.startswith("__Host-desk=")
    assert {"Secure", "HttpOnly", "SameSite=lax", "Path=/"} <= set(cookie.split("; "))
    assert "Domain" not in cookie


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 303),
        ({"sec-fetch-site": "same-origin"}, 303),
        ({"sec-fetch-site": "none"}, 303),
        ({"sec-fetch-site": "same-origin", "origin": "null"}, 303),
        ({"origin": "http://testserver"}, 303),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "same-origin", "origin": "http://evil.example"}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "http://testserver:81"}, 403),
        ({"origin": "https://testserver"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://[testserver"}, 403),
        ({"origin": "http://testserver:port"}, 403),
        ({"origin": "http://testserver@evil.example"}, 403),
        ({"origin": ""}, 403),
    ],
)
def test_other_sites_cannot_post(visitor: TestClient, headers: dict[str, str], status: int) -> None:
    assert visitor.post("/sign-out", headers=headers).status_code == status


def test_every_page_has_the_headers_and_no_inline_style_or_script(
    desk: Desk, firm_owner: Person, visitor: TestClient
) -> None:
    secret = people.invite(desk, "crew", firm_owner)
    for path in ("/sign-in", f"/join/{secret}", "/join/used", "/nothing", "/healthz"):
        answer = visitor.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-robots-tag"] == "noindex, nofollow"
        assert answer.headers["cache-control"] == "no-store"
        assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]*\ssrc=)", answer.text)


@pytest.mark.parametrize("language", ["en", "es"])
def test_pages_speak_the_language_of_the_browser(visitor: TestClient, language: str) -> None:
    page = visitor.get("/sign-in", headers={"accept-language": f"{language}-US,fr;q=0.5"}).text
    assert f'<html lang="{language}">' in page
    assert ("Sign in" if language == "en" else "Entrar") in page


def test_static_files_never_change_under_their_name(visitor: TestClient) -> None:
    for each in static_files().values():
        answer = visitor.get(each.address)
        assert answer.content == each.content
        assert "immutable" in answer.headers["cache-control"]
    plain = visitor.get(static_files()["page.css"].address, headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert visitor.get("/static/page.0000000000000000.css").status_code == 404


@pytest.mark.usefixtures("firm_owner")
def test_a_body_that_is_too_large_is_not_read(visitor: TestClient) -> None:
    huge = {"content-length": "999999999999", "content-type": "application/x-www-form-urlencoded"}
    assert visitor.post("/sign-in", content=b"login=ana", headers=huge).status_code == 413

    def parts() -> object:
        for _ in range(70):
            yield b"x" * 1_000_000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert visitor.post("/sign-in", content=parts(), headers=headers).status_code == 413  # type: ignore[arg-type]
