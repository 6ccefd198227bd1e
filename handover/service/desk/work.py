"""Work in the background: one workflow for each request, which a kill does not lose.

DBOS keeps the state of workflows in a database of its own; a program that starts again goes on with what was
under way. Rendering is done by warm processes.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any, Self

from handover.service.desk.issue_steps import IssueSteps
from handover.service.desk.issue_worker import make_set
from handover.service.desk.owner_pages import archive_acknowledgement, open_acknowledgements
from handover.service.desk.requests import pending_keys, receive
from handover.service.worker_limits import UNLIMITED
from handover.service.worker_pool import Workers
from handover.service.workers import warm_up

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from handover.service.desk.database import Desk
    from handover.service.desk.issue_worker import MadeSet
    from handover.service.desk.requests import DeskRequest
    from handover.service.issuing import IssueRequest
    from handover.service.settings import Settings
    from handover.service.worker_limits import Limits

WORK_FILE = "desk-work.sqlite"
"""The file of the workflows in the folder of the archive."""

WORK_VERSION = "1"
"""Of the workflows: a program with another one leaves them to one that knows them."""

EXECUTOR = "desk"
"""The name of this machine: a workflow is taken up again by one of the same name."""

_UNDER_WAY = ("PENDING", "ENQUEUED", "DELAYED", "SUCCESS")

ARCHIVE_ATTEMPTS = 5

STOP_S = 60
"""How long a stop waits for the work under way; what is not done by then goes on after the next start."""


MAX_DESK_WORKERS = 4
"""Processes where nobody says how many: a firm has not more records at once."""


class DeskWork:
    """The background work of a desk. Use it as a context.

    Args:
        desk: The desk.
        settings: The choices of every issue.
        key: Of a customer of the forecast service.
        workers: Number of processes.
        limits: What one request may take.
    """

    def __init__(
        self,
        desk: Desk,
        settings: Settings,
        *,
        key: str | None = None,
        workers: int = 1,
        limits: Limits = UNLIMITED,
        url: str | None = None,
    ) -> None:
        self.desk = desk
        self._count = workers
        self._limits = limits
        self._url = url or f"sqlite:///{desk.archive.folder / WORK_FILE}"
        self._steps = IssueSteps(desk, self._make_set, settings, key)
        self._pool: Workers[IssueRequest, MadeSet] | None = None
        self._workflows: Mapping[str, Callable[..., None]] = {}
        self._is_stopping = threading.Event()

    def __enter__(self) -> Self:
        """Begin the processes, and go on with what a run before has left."""
        from dbos import DBOS  # noqa: PLC0415 - heavy

        self._pool = Workers[Any, Any](self._count, make_set, warm_up, self._limits)
        DBOS(config=_config(self._url))
        self._workflows = {"issue": self._define_issue(), "acknowledge": self._define_acknowledgement()}
        DBOS.launch()
        for key in pending_keys(self.desk):
            self._start(key, "issue", key)
        for each in open_acknowledgements(self.desk):
            self.archive_acknowledgement(each.job, each.revision)
        return self

    def __exit__(self, *_: object) -> None:
        """Stop: what is under way is finished, as far as that takes no longer than a person waits."""
        from dbos import DBOS  # noqa: PLC0415 - heavy

        self._is_stopping.set()
        DBOS.destroy(destroy_registry=True, workflow_completion_timeout_sec=STOP_S)
        if self._pool is not None:
            self._pool.close(at_once=True)

    def submit(self, request: DeskRequest) -> None:
        """Keep a request, and begin its work; one that came before is the same one."""
        receive(self.desk, request)
        self._start(request.key, "issue", request.key)

    def archive_acknowledgement(self, job: str, revision: int) -> None:
        """Archive the acknowledgement of an issue; once more after a kill."""
        self._start(f"acknowledge-{revision}-{job}", "acknowledge", job, revision)

    # ---- the workflows

    def _define_issue(self) -> Callable[[str], None]:
        from dbos import DBOS  # noqa: PLC0415 - heavy

        steps = self._steps

        @DBOS.workflow(name="issue-record")
        def issue_record(request: str) -> None:
            try:
                job = DBOS.run_step({"name": "read"}, steps.read, request)
                if job is not None:
                    DBOS.run_step({"name": "forecast"}, steps.forecast, request)
                    DBOS.run_step({"name": "issue"}, steps.issue, request, job)
            except Exception as fault:
                if self._is_stopping.is_set():  # it goes on after the next start
                    raise
                steps.give_up(request, fault)

        return issue_record

    def _define_acknowledgement(self) -> Callable[[str, int], None]:
        from dbos import DBOS  # noqa: PLC0415 - heavy

        desk = self.desk

        @DBOS.workflow(name="archive-acknowledgement")
        def archive_it(job: str, revision: int) -> None:
            DBOS.run_step(
                {"name": "archive", "retries_allowed": True, "max_attempts": ARCHIVE_ATTEMPTS},
                archive_acknowledgement,
                desk,
                job,
                revision,
            )

        return archive_it

    def _start(self, key: str, workflow: str, *arguments: object) -> None:
        """Begin or resume a workflow, by its key."""
        from dbos import DBOS, SetWorkflowID  # noqa: PLC0415 - heavy

        status = DBOS.get_workflow_status(key)
        if status is not None and status.status not in _UNDER_WAY:  # a stop came between two steps
            DBOS.fork_workflow(key, 1)
            return
        with SetWorkflowID(key):
            DBOS.start_workflow(self._workflows[workflow], *arguments)

    def _make_set(self, request: IssueRequest) -> MadeSet:
        assert self._pool is not None  # noqa: S101 - it is begun on entry
        return self._pool.submit(request).result()


def _config(url: str) -> Any:
    return {
        "name": "handover-desk",
        "system_database_url": url,
        "run_admin_server": False,
        "enable_otlp": False,
        "log_level": "WARNING",
        "executor_id": EXECUTOR,
        "application_version": WORK_VERSION,
    }
