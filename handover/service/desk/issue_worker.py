"""What a worker process does for a request: it checks the inputs, computes and renders. It writes nothing."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handover.errors import UnusableInput, fault_text
from handover.service.worker_limits import OutOfMemory, is_out_of_memory
from handover.service.worker_pool import gc_paused
from handover.service.workers import warm_up

if TYPE_CHECKING:
    from collections.abc import Mapping

    from handover.errors import Finding
    from handover.jobs.record import JobRecord
    from handover.service.issuing import IssueRequest

_RENDER_LOCK = threading.Lock()


@dataclass(frozen=True)
class MadeSet:
    """The set of a request, or findings, or why it failed: a value, which travels between processes."""

    job: JobRecord | None = None
    files: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    failure: str = ""


def make_set(request: IssueRequest) -> MadeSet:
    """Return the set of a request.

    Raises:
        OutOfMemory: The system gave it no more memory. Anything else is in the result.
    """
    warm_up()
    from handover.service.issuing import issue_request  # noqa: PLC0415 - a process that submits needs it not

    try:
        with _RENDER_LOCK, gc_paused():
            issued = issue_request(request)
    except UnusableInput as refused:
        return MadeSet(findings=refused.findings)
    except Exception as fault:  # noqa: BLE001 - whatever it is, the desk goes on
        if is_out_of_memory(fault):
            raise OutOfMemory from None
        return MadeSet(failure=fault_text(fault))
    return MadeSet(issued.job, issued.files, issued.findings)
