"""The HTTP API for other programs: a record in, a published issue out. Described by OpenAPI.

It is FastAPI's because that reads the multipart form, checks its fields and writes the OpenAPI document from
one declaration; the pages need none of it. It has tokens and no cookies, so no other site can
use it by a browser.
"""

from __future__ import annotations

import asyncio
import re
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Depends, FastAPI, File, Form, Header, HTTPException, Request, Response, UploadFile
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from handover.desk.sessions import desk_of
from handover.errors import Finding, UnusableInput
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.reading import RecordSource, examine_source
from handover.service.desk.api_tokens import token_name
from handover.service.desk.attempts import API_REQUESTS, SIGN_INS_OF_PLACE, allow
from handover.service.desk.owner_links import link_of
from handover.service.desk.passwords import digest, draw_secret
from handover.service.desk.refusals import TooManyAttempts
from handover.service.desk.requests import DeskRequest, outcome_of
from handover.service.job_inputs import WeatherFile
from handover.service.time_of_issue import read_time_of_issue

if TYPE_CHECKING:
    from datetime import datetime

    from handover.service.desk.requests import RequestOutcome

POLL_S = 0.15
"""How often a request that waits looks whether the work is done. [s]"""

WAIT_S = 600.0
"""How long it waits at most. [s]"""

IDEMPOTENCY_KEY = re.compile(r"[ -~]{1,200}")
MAX_ATTACHED_FILES = 80
CREATED, UNPROCESSABLE = 201, 422


class FindingOut(BaseModel):
    """One thing that is wrong or doubtful in the input."""

    text: str = Field(description="The whole finding in one sentence.")
    severity: str = Field(description='"fault" or "caution".')
    problem: str
    file: str | None = None
    line: int | None = None
    field: str | None = None
    expected: str | None = None
    example: str | None = None


class RecordRefusal(BaseModel):
    """Why a record cannot be used."""

    findings: list[FindingOut]


class PublishedIssue(BaseModel):
    """A published issue."""

    job: str = Field(description="The id of the job, as in its record.")
    revision: int
    owner_url: str | None = Field(description="The owner's page; null where its link was withdrawn.")
    findings: list[FindingOut] = Field(description="Cautions: things that are doubtful in the input.")


def create_api() -> FastAPI:
    """Return the API, to be mounted at /api."""
    api = FastAPI(
        title="Handover desk",
        version="1",
        description="Hand in the record of a slab; its documents are computed, archived and published.",
        openapi_url="/v1/openapi.json",
        docs_url=None,
        redoc_url=None,
    )
    api.post(
        "/v1/jobs",
        status_code=CREATED,
        response_model=PublishedIssue,
        responses={
            UNPROCESSABLE: {
                "model": RecordRefusal,
                "description": "The record or its weather cannot be used.",
            }
        },
    )(post_job)
    return api


# ---- who asks ---------------------------------------------------------------------------------------


def require_token(request: Request, authorization: Annotated[str, Header()] = "") -> str:
    """Return the name of the token of a request; refuse one without."""
    desk = desk_of(request)
    kind, _, secret = authorization.partition(" ")
    name = token_name(desk, secret.strip()) if kind.lower() == "bearer" and secret.strip() else None
    try:
        if name is None:
            place = request.client.host if request.client else ""
            allow(desk, f"place {place}", SIGN_INS_OF_PLACE)
            raise HTTPException(401, "A token is needed.", {"WWW-Authenticate": "Bearer"})
        allow(desk, f"token {name}", API_REQUESTS)
    except TooManyAttempts as refused:
        raise HTTPException(429, "Too many requests.", {"Retry-After": str(refused.wait_s)}) from None
    return name


# ---- a record ---------------------------------------------------------------------------------------


async def post_job(
    request: Request,
    token: Annotated[str, Depends(require_token)],
    record: Annotated[UploadFile, File(description="The job record: TOML, or JSON of the same shape.")],
    weather: Annotated[
        UploadFile | None, File(description="Hourly weather; left out, the forecast is downloaded.")
    ] = None,
    files: Annotated[
        list[UploadFile] | None, File(description="The files that the record names, by their names in it.")
    ] = None,
    as_of: Annotated[str | None, Form(description="Time of issue, ISO 8601; left out: now.")] = None,
    idempotency_key: Annotated[
        str | None, Header(description="The same key is the same request, however often it is sent.")
    ] = None,
) -> Response:
    """Issue a record. The response comes when the documents are archived and the owner's page shows them."""
    key = _request_key(request, token, idempotency_key)
    source = RecordSource(_name_of(record, "job.toml"), await record.read(), MemoryFiles({}))
    attached = {_name_of(each, ""): await each.read() for each in (files or [])[:MAX_ATTACHED_FILES]}
    source = RecordSource(source.name, source.data, MemoryFiles(attached))
    sky = None if weather is None else WeatherFile(_name_of(weather, "weather.csv"), await weather.read())
    try:
        at = await run_in_threadpool(_time_of_issue, request, as_of, source)
    except UnusableInput as refused:
        return _refusal(refused.findings)
    made = DeskRequest(key, source, at, f"token {token}", sky, attached)
    await run_in_threadpool(request.app.state.work.submit, made)
    return await _response(request, key)


def _time_of_issue(request: Request, text: str | None, source: RecordSource) -> datetime:
    if not text:
        return desk_of(request).now()
    return read_time_of_issue(text, None, lambda: _zone_of(source))


def _zone_of(source: RecordSource) -> str | None:
    """Return the time zone of the site of a record; None where it cannot be read."""
    job = examine_source(source).record
    return None if job is None else job.site.timezone


def _request_key(request: Request, token: str, key: str | None) -> str:
    """Return the key of a request: nobody else's key is the same."""
    if key is None:
        return f"api-{draw_secret(desk_of(request).random_bytes)}"
    if not IDEMPOTENCY_KEY.fullmatch(key):
        raise HTTPException(UNPROCESSABLE, "The idempotency key has at most 200 visible ASCII characters.")
    return "api-" + digest(f"{token}\n{key}")


async def _response(request: Request, key: str) -> Response:
    """Return the outcome of a request, once it is over."""
    desk, waited = desk_of(request), 0.0
    while True:
        outcome = await run_in_threadpool(outcome_of, desk, key)
        assert outcome is not None  # noqa: S101 - it was received
        if outcome.is_over or waited >= WAIT_S:
            return await run_in_threadpool(_outcome_response, request, outcome)
        await asyncio.sleep(POLL_S)
        waited += POLL_S


def _outcome_response(request: Request, outcome: RequestOutcome) -> Response:
    if outcome.state == "refused":
        return _refusal(outcome.findings)
    if outcome.state == "failed":
        return _refusal(outcome.findings, 503)
    if outcome.state == "received" or outcome.job is None or outcome.revision is None:
        return JSONResponse({"findings": []}, 504)
    link = link_of(desk_of(request), outcome.job)
    issue = PublishedIssue(
        job=outcome.job,
        revision=outcome.revision,
        owner_url=None if link is None else f"{request.app.state.url}/o/{link.token}",
        findings=[*map(_finding, outcome.findings)],
    )
    return JSONResponse(issue.model_dump(), CREATED)


def _refusal(findings: tuple[Finding, ...], status: int = UNPROCESSABLE) -> Response:
    return JSONResponse({"findings": [_finding(each).model_dump() for each in findings]}, status)


def _finding(finding: Finding) -> FindingOut:
    said: dict[str, Any] = asdict(finding)
    return FindingOut(text=str(finding), **said)


def _name_of(upload: UploadFile, default: str) -> str:
    return upload.filename or default
