"""Customer handover and cure-care documents for concrete slabs on ground.

    job = read_job(path)
    weather = read_weather(path, site=...)
    schedule = plan_cure(job, weather, as_of)
    issue_documents(job, schedule, folder, ...)

Each is imported when it is first asked for, so that importing the package costs nothing.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from handover.jobs.reading import read_job
    from handover.schedule.plan import plan_cure
    from handover.service.render import issue_documents
    from handover.weather.reading import read_weather

__version__ = "0.1.0"
__all__ = ["issue_documents", "plan_cure", "read_job", "read_weather"]

_MODULE_OF = {
    "issue_documents": "handover.service.render",
    "plan_cure": "handover.schedule.plan",
    "read_job": "handover.jobs.reading",
    "read_weather": "handover.weather.reading",
}


def __getattr__(name: str) -> object:
    """Import one of the four when it is asked for."""
    if name not in _MODULE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415 - only when something is asked for

    return getattr(import_module(_MODULE_OF[name]), name)
