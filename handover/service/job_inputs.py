"""The inputs of a set as values: the job, its weather, the files as received with their names."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePath
from typing import TYPE_CHECKING

from handover.base.file_names import ascii_name, casefold_path, free_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from handover.errors import Finding
    from handover.jobs.record import JobRecord
    from handover.weather import WeatherSeries


@dataclass(frozen=True)
class WeatherFile:
    """A weather file as received, or why it could not be read.

    Attributes:
        name: Its name.
        data: Its bytes; empty if there is a fault.
        received_at: When it was downloaded, if it was.
        fault: Why it could not be read.
        cautions: Cautions about the service that it comes from.
        service: The name of that service, if it was downloaded.
    """

    name: str
    data: bytes
    received_at: datetime | None = None
    fault: Finding | None = None
    cautions: tuple[Finding, ...] = ()
    service: str | None = None


@dataclass(frozen=True)
class JobInputs:
    """A job and its weather, read and checked.

    Attributes:
        job: The record.
        weather: Its weather, as far as the source has it.
        files: The files as received, the record first. Files that the record names keep their names and
            folders, so that the record can be read again with them.
        pictures: The job's own pictures, by their names in the record.
        cautions: The cautions of the inputs.
        typical: A typical year of the place, if there is one.
        weather_file: Name of the weather among the inputs; `typical_file` likewise.
        received_at: When the weather was downloaded, if it was.
        earlier_weather: The weather of earlier issues from which the first hours are, the newest first.
    """

    job: JobRecord
    weather: WeatherSeries
    files: Mapping[str, bytes]
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    cautions: tuple[Finding, ...] = ()
    typical: WeatherSeries | None = None
    weather_file: str = ""
    typical_file: str | None = None
    received_at: datetime | None = None
    earlier_weather: tuple[WeatherFile, ...] = ()


def unique_names(files: Iterable[tuple[str, bytes]], reserved: Iterable[str] = ()) -> dict[str, bytes]:
    """Return files by names that stay inside a folder; a name that is taken gets a number."""
    named: dict[str, bytes] = {}
    taken = {casefold_path(each) for each in reserved}
    for name, content in files:
        path = str(PurePath(name)) if is_inside(name) else ascii_name(name)
        free = free_name(path, lambda each: casefold_path(each) in taken)
        taken.add(casefold_path(free))
        named[free] = content
    return named


def is_inside(name: str) -> bool:
    """Return whether a relative path stays inside its folder."""
    path = PurePath(name)
    return bool(path.parts) and not path.is_absolute() and ".." not in path.parts and name.isprintable()
