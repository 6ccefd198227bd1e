"""Customer handover and cure-care documents for concrete slabs on ground.

    issued = issue("job.toml", "weather.csv", as_of=...)
    issued.write("out/job")

or step by step:

    job = read_job(path)
    weather = read_weather(path, site=job.site)
    schedule = plan_cure(job, weather, as_of)

Each is imported when it is first asked for, so that importing the package costs nothing.
"""

from __future__ import annotations

from handover.base.version import VERSION

TYPE_CHECKING = False
if TYPE_CHECKING:
    from handover.jobs.reading import read_job
    from handover.schedule.plan import plan_cure
    from handover.service.issuing import issue
    from handover.weather.reading import read_weather

__version__ = VERSION
__all__ = ["issue", "plan_cure", "read_job", "read_weather"]

_MODULE_OF = {
    "issue": "handover.service.issuing",
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
