"""The steps from a request to a published issue. Each may be repeated: killed anywhere, it ends once.

    read       which job the record is about, or why it cannot be used
    forecast   the weather, where none came
    archive    compute, render, archive: the requests of a job one after another, in the order of arrival
    publish    the owner's page shows it

The issue of a request that was killed after archiving is known again by its bytes: the same inputs, revision
and time of issue give the same set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from handover.errors import Finding, HandoverError, UnusableInput, fault_text
from handover.jobs.reading import examine_source
from handover.service.archiving import archive_documents
from handover.service.desk.requests import (
    end_request,
    note_job,
    note_revision,
    note_weather,
    pending_of_job,
    pending_request,
    publish_request,
)
from handover.service.inputs import attached_files, download_weather
from handover.service.issuing import IssueRequest
from handover.service.publish import next_revision

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from handover.archive.bag import Bag
    from handover.jobs.record import JobRecord
    from handover.service.desk.database import Desk
    from handover.service.desk.issue_worker import MadeSet
    from handover.service.desk.requests import PendingRequest
    from handover.service.job_inputs import WeatherFile
    from handover.service.settings import Settings

    MakeSet = Callable[[IssueRequest], MadeSet]


@dataclass(frozen=True)
class IssueSteps:
    """The steps, on one desk.

    Attributes:
        desk: The desk.
        make_set: Makes the set of a request, in a worker process.
        settings: The choices of every issue.
        key: Of a customer of the forecast service.
    """

    desk: Desk
    make_set: MakeSet
    settings: Settings
    key: str | None = None

    def read(self, request: str) -> str | None:
        """Return the id of the job of a request; None where the record is refused, or the request is over."""
        pending = pending_request(self.desk, request)
        if pending is None:
            return None
        examined = examine_source(pending.record)
        if examined.record is None:
            end_request(self.desk, request, "refused", examined.findings)
            return None
        note_job(self.desk, request, examined.record.id)
        return examined.record.id

    def forecast(self, request: str) -> None:
        """Download the weather of a request, where none came; end the request where there is none."""
        pending = pending_request(self.desk, request)
        if pending is None or pending.weather is not None:
            return
        job = examine_source(pending.record).record
        assert job is not None  # noqa: S101 - it was read before
        try:
            note_weather(self.desk, request, self._download(job, pending))
        except UnusableInput as refused:
            end_request(self.desk, request, "refused", refused.findings)
        except HandoverError as fault:
            end_request(self.desk, request, "failed", [Finding(str(fault), field="weather")])

    def _download(self, job: JobRecord, pending: PendingRequest) -> WeatherFile:
        return download_weather(job, pending.as_of, key=self.key)

    def issue(self, request: str, job: str) -> None:
        """Archive and publish the requests of a job, up to this one, in the order of arrival.

        Those before may be of a run that was killed, or wait for their turn.
        """
        with self.desk.archive.lock(job):
            mine = pending_request(self.desk, request)
            for pending in () if mine is None else pending_of_job(self.desk, job, mine.number):
                if pending.weather is not None:  # else its own workflow has not got that far
                    self._issue(pending, job)

    def _issue(self, pending: PendingRequest, job: str) -> None:
        desk, bag = self.desk, self.desk.archive.bag_or_none(job)
        revision = pending.revision or next_revision(
            job, pending.as_of, archived=bag.revisions if bag else ()
        )
        made = self._make(pending, bag, revision)
        if bag and revision in bag.revisions and bag.issue(revision) != made.files:
            revision = next_revision(job, pending.as_of, archived=bag.revisions)  # somebody else has taken it
            made = self._make(pending, bag, revision)
        if made.job is None:
            if made.failure:
                end_request(desk, pending.key, "failed", [Finding(made.failure)])
            else:
                end_request(desk, pending.key, "refused", made.findings)
            return
        note_revision(desk, pending.key, revision)
        try:
            others = _other_files(pending, made.job)
            archive_documents(desk.archive, made.job, made.files, pending.as_of, others=others)
        except UnusableInput as refused:
            end_request(desk, pending.key, "refused", refused.findings)
            return
        publish_request(desk, pending.key, job, revision, made.findings)

    def _make(self, pending: PendingRequest, bag: Bag | None, revision: int) -> MadeSet:
        assert pending.weather is not None  # noqa: S101 - the caller has looked
        earlier = _issue_before(bag, revision)
        return self.make_set(
            IssueRequest(
                pending.record,
                pending.weather,
                pending.as_of,
                self.settings,
                revision=revision,
                earlier=earlier,
            )
        )

    def give_up(self, request: str, fault: Exception) -> None:
        """End a request that failed for a reason that no step knows."""
        end_request(self.desk, request, "failed", [Finding(fault_text(fault))])


def _other_files(pending: PendingRequest, job: JobRecord) -> dict[str, bytes]:
    """Return the files that came with a record and are not named in it, by their paths in a bag."""
    named = attached_files(job, pending.record.files)
    return {f"beside/{name}": data for name, data in pending.files.items() if name not in named}


def _issue_before(bag: Bag | None, revision: int) -> Mapping[str, bytes] | None:
    """Return the issue before a revision, if there is one."""
    before = [] if bag is None else [each for each in bag.revisions if each < revision]
    return None if bag is None or not before else bag.issue(before[-1])
