"""The choices of an issue, which with its inputs allow the set to be made again.

`inputs/settings.json` of an issued set has the choices of its issue, the names of the weather files among the
inputs, the version of this program, and a digest of each template folder.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from handover.base.file_names import ascii_name
from handover.base.text import short_line
from handover.base.version import VERSION
from handover.documents.templating import templates_folder
from handover.errors import Finding, UnusableInput
from handover.schedule.simulation import SHARE
from handover.service.job_inputs import WeatherFile
from handover.service.publish import EARLIER_WEATHER_FOLDER, INPUTS_FOLDER

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from handover.documents.pages import Paper
    from handover.documents.quantity_format import Units
    from handover.jobs.record import JobRecord
    from handover.service.job_inputs import JobInputs

SETTINGS_FILE = "settings.json"
"""Name among the inputs."""

WEATHER_LIST = "list.json"
"""Name of the list of the weather of earlier issues, beside it."""

OFFICE_LANGUAGE = "en"
"""The language of crew and office by default."""


@dataclass(frozen=True)
class Settings:
    """The choices of an issue.

    Attributes:
        languages: The languages of the readers; by default, that of the record for the owner.
        firm_language: That of crew and office; by default the first of `languages`, else English.
        units: "us" or "si"; by default, those of most quantities in the record.
        paper: "letter" or "a4".
        templates: A contractor's folder whose files replace those of the program.
        rules: The rules, as for `plan_cure`.
        share: The certainty of a "not before", likewise.
    """

    languages: tuple[str, ...] | None = None
    units: Units | None = None
    paper: Paper = "letter"
    templates: Path | None = None
    rules: str | None = None
    share: float = SHARE
    firm_language: str | None = None

    @property
    def office_language(self) -> str:
        """The language of crew and office."""
        first = self.languages[0] if self.languages else OFFICE_LANGUAGE
        return self.firm_language or first

    def units_for(self, job: JobRecord) -> Units:
        """Return the units of a job's reader."""
        return self.units or job.written_in


@dataclass(frozen=True)
class Provenance:
    """How a set was made.

    Attributes:
        settings: The choices, without the contractor's own templates, which are not in a set.
        own_look: Whether there were such templates.
        weather: Name of the weather among the inputs; `typical` likewise.
        received_at: When the weather was downloaded, if it was.
    """

    settings: Settings
    own_look: bool
    weather: str
    typical: str | None
    received_at: datetime | None


def add_manifest(inputs: JobInputs, settings: Settings) -> dict[str, bytes]:
    """Return the inputs of a set together with its choices."""
    own = settings.templates
    manifest = {
        "program": f"handover {VERSION}",
        "settings": {**asdict(settings), "templates": None},
        "weather": inputs.weather_file,
        "received_at": inputs.received_at.isoformat() if inputs.received_at else None,
        "typical": inputs.typical_file,
        "templates": {"ours": _folder_digest(templates_folder()), "own": _digests(own) if own else {}},
    }
    written = f"{json.dumps(manifest, indent=1)}\n".encode()
    return {**inputs.files, SETTINGS_FILE: written, **_earlier_weather(inputs.earlier_weather)}


def _earlier_weather(files: Sequence[WeatherFile]) -> dict[str, bytes]:
    """Return the weather of earlier issues by name among the inputs, with a list of it, the newest first."""
    named = {f"{order}-{ascii_name(each.name)}": each for order, each in enumerate(files, 1)}
    listed = [
        {"file": name, "received_at": each.received_at.isoformat() if each.received_at else None}
        for name, each in named.items()
    ]
    written = {WEATHER_LIST: f"{json.dumps(listed, indent=1)}\n".encode()} if named else {}
    whole = {**{name: each.data for name, each in named.items()}, **written}
    return {f"{EARLIER_WEATHER_FOLDER}{name}": data for name, data in whole.items()}


def read_issued_weather(documents: Mapping[str, bytes]) -> tuple[WeatherFile, ...]:
    """Return the weather of a set as received, then that of earlier issues in it, the newest first.

    Raises:
        UnusableInput: The set does not say how it was made, or its weather is missing.
    """
    made = read_settings(documents)
    own = weather_among(documents, made.weather, made.received_at)
    try:
        return (own, *_read_earlier_weather(documents))
    except (LookupError, ValueError, TypeError) as fault:
        raise _no_weather(INPUTS_FOLDER) from fault


def weather_among(documents: Mapping[str, bytes], name: str, at: datetime | None = None) -> WeatherFile:
    """Return a weather file among the inputs of a set.

    Args:
        documents: The set by file name.
        name: Of the file.
        at: When it was downloaded, if it was.

    Raises:
        UnusableInput: It is missing.
    """
    if (data := documents.get(INPUTS_FOLDER + name)) is None:
        raise _no_weather(short_line(INPUTS_FOLDER + name))
    return WeatherFile(name, data, at)


def _no_weather(file: str) -> UnusableInput:
    finding = Finding("does not have its weather", file=file, expected="a set as `handover issue` wrote it")
    return UnusableInput([finding])


def _name(value: object) -> str:
    """Return the name of a file, as it is.

    Raises:
        TypeError: It is no text.
    """
    if not isinstance(value, str):
        raise TypeError(f"{type(value).__name__} is no name")
    return value


def _read_earlier_weather(documents: Mapping[str, bytes]) -> Iterator[WeatherFile]:
    folder = INPUTS_FOLDER + EARLIER_WEATHER_FOLDER
    for each in json.loads(documents.get(folder + WEATHER_LIST, b"[]")):
        name, at = each["file"], each["received_at"]
        data = documents[folder + name]
        yield WeatherFile(name.partition("-")[2], data, datetime.fromisoformat(at) if at else None)


def read_settings(documents: Mapping[str, bytes]) -> Provenance:
    """Return the choices of a set of documents.

    Args:
        documents: The set by file name.

    Raises:
        UnusableInput: They are missing.
    """
    try:
        manifest: dict[str, Any] = json.loads(documents[INPUTS_FOLDER + SETTINGS_FILE])
        chosen = manifest["settings"]
        languages = tuple(chosen["languages"]) if chosen["languages"] else None
        at = manifest["received_at"]
        return Provenance(
            settings=Settings(**{**chosen, "languages": languages}),
            own_look=bool(manifest["templates"]["own"]),
            weather=_name(manifest["weather"]),
            typical=_name(manifest["typical"]) if manifest["typical"] else None,
            received_at=datetime.fromisoformat(at) if at else None,
        )
    except (LookupError, ValueError, TypeError):
        finding = Finding(
            "does not say how the set was made",
            file=INPUTS_FOLDER + SETTINGS_FILE,
            expected="a set that this version of `handover issue` wrote",
        )
        raise UnusableInput([finding]) from None


@cache
def _folder_digest(folder: Path) -> str:
    """Return the digest of a folder that does not change while the program runs."""
    return sha256(repr(sorted(_digests(folder).items())).encode()).hexdigest()


def _digests(folder: Path) -> dict[str, str]:
    files = sorted(each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): sha256(each.read_bytes()).hexdigest() for each in files}
