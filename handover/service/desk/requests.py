"""Requests to issue a record: what came, how far each is, and its outcome.

A request is kept from the moment when it arrives. Its workflow has its key as id, so that a request that
comes twice is one.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Literal, cast

from sqlalchemy import delete, insert, select, update

from handover.errors import Finding
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.reading import RecordSource
from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.owner_links import require_link_in
from handover.service.desk.tables import PUBLICATION, REQUEST, REQUEST_FILE, TO_SEND
from handover.service.job_inputs import WeatherFile

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from sqlalchemy import Connection

    from handover.service.desk.database import Desk

RequestState = Literal["received", "published", "refused", "failed"]


@dataclass(frozen=True)
class DeskRequest:
    """A record to issue, as it arrived.

    Attributes:
        key: Idempotency key: the same key is the same request.
        record: The record, with the files that it names.
        as_of: Time of issue, aware.
        by: Who asks: the login of a person, "token NAME".
        weather: Its weather; None to download it.
    """

    key: str
    record: RecordSource
    as_of: datetime
    by: str
    weather: WeatherFile | None = None
    files: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True)
class RequestOutcome:
    """How far a request is.

    Attributes:
        key: Its key.
        state: "received" as long as it is under way.
        job: The job, once the record was read.
        revision: The revision, once it is published.
        findings: Why it was refused or failed; of a published one, the cautions.
    """

    key: str
    state: RequestState
    job: str | None
    revision: int | None
    findings: tuple[Finding, ...] = ()

    @property
    def is_over(self) -> bool:
        """Whether nothing more happens."""
        return self.state != "received"


@dataclass(frozen=True)
class PendingRequest:
    """A request under way, with what it was made of.

    Attributes:
        number: In the order of arrival.
        key: Its key.
        record: The record.
        weather: Its weather; None before it was downloaded.
        as_of: Time of issue.
        revision: The revision that was chosen for it; None before.
        by: Who asked.
        files: The files that came with the record, by name.
    """

    number: int
    key: str
    record: RecordSource
    weather: WeatherFile | None
    as_of: datetime
    revision: int | None
    by: str
    files: Mapping[str, bytes]


def receive(desk: Desk, request: DeskRequest) -> None:
    """Keep a request; one that came before changes nothing."""
    weather = request.weather
    values = {
        "key": request.key,
        "record_name": request.record.name,
        "record": request.record.data,
        **(_weather_values(weather) if weather else {}),
        "as_of": to_seconds(request.as_of),
        "by": request.by,
        "state": "received",
        "received": to_seconds(desk.now()),
    }
    with desk.writing() as connection:
        if connection.execute(select(REQUEST.c.number).where(REQUEST.c.key == request.key)).first():
            return
        added = connection.execute(insert(REQUEST).values(**values)).inserted_primary_key
        assert added is not None  # noqa: S101 - one row was added
        if request.files:
            rows = [{"request": added[0], "name": name, "data": data} for name, data in request.files.items()]
            connection.execute(insert(REQUEST_FILE), rows)


def _weather_values(weather: WeatherFile) -> dict[str, object]:
    return {
        "weather_name": weather.name,
        "weather": weather.data,
        "weather_received": to_seconds(weather.received_at) if weather.received_at else None,
        "weather_service": weather.service,
    }


def outcome_of(desk: Desk, key: str) -> RequestOutcome | None:
    """Return how far a request is; None where there is none of that key."""
    with desk.reading() as connection:
        row = connection.execute(
            select(
                REQUEST.c.key, REQUEST.c.state, REQUEST.c.job, REQUEST.c.revision, REQUEST.c.findings
            ).where(REQUEST.c.key == key)
        ).first()
    if row is None:
        return None
    found = tuple(Finding(**each) for each in json.loads(row.findings or "[]"))
    revision = row.revision if row.state == "published" else None
    return RequestOutcome(row.key, cast("RequestState", row.state), row.job, revision, found)


def pending_keys(desk: Desk) -> tuple[str, ...]:
    """Return the keys of the requests under way, in the order of arrival."""
    statement = select(REQUEST.c.key).where(REQUEST.c.state == "received").order_by(REQUEST.c.number)
    with desk.reading() as connection:
        return tuple(connection.execute(statement).scalars())


def pending_request(desk: Desk, key: str) -> PendingRequest | None:
    """Return a request under way; None where it is over, or there is none."""
    with desk.reading() as connection:
        row = connection.execute(
            select(REQUEST).where(REQUEST.c.key == key, REQUEST.c.state == "received")
        ).first()
        return None if row is None else _pending(connection, row)


def pending_of_job(desk: Desk, job: str, until: int) -> tuple[PendingRequest, ...]:
    """Return the requests under way of a job, in the order of arrival, up to one by its number."""
    statement = (
        select(REQUEST)
        .where(REQUEST.c.job == job, REQUEST.c.state == "received", REQUEST.c.number <= until)
        .order_by(REQUEST.c.number)
    )
    with desk.reading() as connection:
        return tuple(_pending(connection, each) for each in connection.execute(statement).all())


def _pending(connection: Connection, row: Any) -> PendingRequest:
    files = connection.execute(
        select(REQUEST_FILE.c.name, REQUEST_FILE.c.data).where(REQUEST_FILE.c.request == row.number)
    )
    named = {each.name: bytes(each.data) for each in files}
    record = RecordSource(row.record_name, bytes(row.record), MemoryFiles(named))
    weather = None
    if row.weather is not None:
        received = None if row.weather_received is None else to_time(row.weather_received)
        weather = WeatherFile(row.weather_name, bytes(row.weather), received, service=row.weather_service)
    return PendingRequest(
        row.number, row.key, record, weather, to_time(row.as_of), row.revision, row.by, named
    )


# ---- steps ------------------------------------------------------------------------------------------


def note_job(desk: Desk, key: str, job: str) -> None:
    """Note which job a request is about."""
    _update(desk, key, job=job)


def note_weather(desk: Desk, key: str, weather: WeatherFile) -> None:
    """Keep the weather that was downloaded for a request."""
    _update(desk, key, **_weather_values(weather))


def note_revision(desk: Desk, key: str, revision: int) -> None:
    """Note the revision that was chosen for a request."""
    _update(desk, key, revision=revision)


def _update(desk: Desk, key: str, **values: object) -> None:
    with desk.writing() as connection:
        connection.execute(update(REQUEST).where(REQUEST.c.key == key).values(**values))


def end_request(
    desk: Desk, key: str, state: Literal["refused", "failed"], findings: Iterable[Finding]
) -> None:
    """Note why a request was refused or failed; one that is over stays as it is."""
    with desk.writing() as connection:
        row = _open_row(connection, key)
        if row is not None:
            _end(desk, connection, row.number, state, findings)
            write_audit(connection, desk.now(), row.by, f"request-{state}", row.job or row.record_name)


def publish_request(desk: Desk, key: str, job: str, revision: int, findings: Iterable[Finding] = ()) -> None:
    """Publish the issue of a request, once: the owner's page shows it, and it is to be sent."""
    with desk.writing() as connection:
        row = _open_row(connection, key)
        if row is None:
            return
        at = to_seconds(desk.now())
        connection.execute(insert(PUBLICATION).values(job=job, revision=revision, at=at, request=row.number))
        connection.execute(insert(TO_SEND).values(job=job, revision=revision, created=at))
        require_link_in(desk, connection, job, row.by)
        _end(desk, connection, row.number, "published", findings, revision=revision)
        write_audit(connection, desk.now(), row.by, "publish", f"{job} {revision}")


def _open_row(connection: Connection, key: str) -> Any:
    return connection.execute(
        select(REQUEST.c.number, REQUEST.c.by, REQUEST.c.job, REQUEST.c.record_name).where(
            REQUEST.c.key == key, REQUEST.c.state == "received"
        )
    ).first()


def _end(
    desk: Desk,
    connection: Connection,
    number: int,
    state: RequestState,
    findings: Iterable[Finding],
    **values: object,
) -> None:
    """End a request: what it was made of is in the archive, or of no use."""
    found = json.dumps([asdict(each) for each in findings])
    ended = {
        "state": state,
        "findings": found,
        "ended": to_seconds(desk.now()),
        "record": None,
        "weather": None,
    }
    connection.execute(update(REQUEST).where(REQUEST.c.number == number).values(**ended, **values))
    connection.execute(delete(REQUEST_FILE).where(REQUEST_FILE.c.request == number))
