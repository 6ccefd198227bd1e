"""The HTTP API: tokens, records in, findings out, limits."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from handover.service.desk.api_tokens import new_token, token_names, withdraw_token
from handover.service.desk.attempts import RateLimit
from handover.service.desk.owner_links import withdraw_link
from handover.service.desk.refusals import DeskRefusal

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.testclient import TestClient

    from handover.service.desk.database import Desk
    from tests.desk.conftest import WorkAtOnce

JOB = "2026-07-14-test-slab"
AS_OF = {"as_of": "2026-07-14T12:30:00-04:00"}


@pytest.fixture
def program(
    desk: Desk,
    visitor: TestClient,
    desk_work: WorkAtOnce,  # noqa: ARG001 - makes it cheap
    record_text: str,
    hourly: Callable[..., dict[str, object]],
) -> Callable[..., Any]:
    """Return a program that hands in a record."""
    token = new_token(desk, "program", "ana")

    def post(record: str = record_text, headers: dict[str, str] | None = None, **data: str) -> Any:
        files = {
            "record": ("job.toml", record.encode()),
            "weather": ("weather.json", json.dumps(hourly()).encode()),
        }
        sent = {"Authorization": f"Bearer {token}", **(headers or {})}
        return visitor.post("/api/v1/jobs", files=files, data={**AS_OF, **data}, headers=sent)

    return post


def test_a_record_becomes_a_published_issue(program: Callable[..., Any], desk: Desk) -> None:
    answer = program()
    assert answer.status_code == 201
    body = answer.json()
    assert (body["job"], body["revision"]) == (JOB, 1)
    assert body["owner_url"].startswith("http://testserver/o/")
    assert desk.archive.bag(JOB).revisions == (1,)


def test_the_same_key_is_the_same_request(program: Callable[..., Any], desk: Desk) -> None:
    headers = {"Idempotency-Key": "truck 7"}
    assert program(headers=headers).json() == program(headers=headers).json()
    assert desk.archive.bag(JOB).revisions == (1,)


def test_a_bad_record_has_all_its_findings(program: Callable[..., Any], record_text: str) -> None:
    answer = program(record_text.replace('"5 in"', '"5 parsecs"').replace('"34 ft"', '"long"'))
    assert answer.status_code == 422
    found = {each["field"]: each for each in answer.json()["findings"]}
    assert {"slab.thickness", "slab.length"} <= found.keys()
    assert "parsecs" in found["slab.thickness"]["text"]


@pytest.mark.parametrize(("as_of", "status"), [("2026-07-14 12:30", 201), ("soon", 422), ("9999999", 422)])
def test_the_time_of_issue_is_read_by_the_clock_of_the_site(
    program: Callable[..., Any], as_of: str, status: int
) -> None:
    answer = program(as_of=as_of)
    assert answer.status_code == status
    assert status == 201 or answer.json()["findings"]


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer ", "Bearer guess", "Basic guess", "guess"])
def test_nobody_hands_in_without_a_token(visitor: TestClient, header: str) -> None:
    answer = visitor.post("/api/v1/jobs", headers={"Authorization": header}, files={"record": b""})
    assert answer.status_code == 401


def test_a_token_that_was_withdrawn_is_none(program: Callable[..., Any], desk: Desk) -> None:
    with pytest.raises(DeskRefusal, match="token-taken"):
        new_token(desk, "program", "ana")
    withdraw_token(desk, "program", "ana")
    assert token_names(desk) == ()
    assert program().status_code == 401
    new_token(desk, "program", "ana")


def test_a_program_that_asks_too_often_waits(
    program: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handover.desk.api.API_REQUESTS", RateLimit(1, 3600))
    assert program(as_of="soon").status_code == 422
    answer = program()
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) > 0


def test_guesses_of_tokens_are_limited(visitor: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("handover.desk.api.SIGN_INS_OF_PLACE", RateLimit(2, 600))
    guesses = [
        visitor.post("/api/v1/jobs", headers={"Authorization": f"Bearer {each}"}).status_code
        for each in range(4)
    ]
    assert guesses == [401, 401, 429, 429]


def test_a_withdrawn_link_is_not_given_away(program: Callable[..., Any], desk: Desk) -> None:
    program()
    withdraw_link(desk, JOB, "ana")
    assert program(as_of="2026-07-14T18:00:00-04:00").json()["owner_url"] is None


def test_what_is_missing_is_said(program: Callable[..., Any], visitor: TestClient, desk: Desk) -> None:
    token = new_token(desk, "other", "ana")
    answer = visitor.post("/api/v1/jobs", headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 422
    assert program(headers={"Idempotency-Key": "x" * 201}).status_code == 422


def test_the_api_describes_itself(visitor: TestClient) -> None:
    described = visitor.get("/api/v1/openapi.json").json()
    answers = described["paths"]["/v1/jobs"]["post"]["responses"]
    assert {"201", "422"} <= answers.keys()
    assert "owner_url" in described["components"]["schemas"]["PublishedIssue"]["properties"]
