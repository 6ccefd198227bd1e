"""How a set is made, beside what it is made from: so that it can be made again.

`inputs/settings.json` of an issued set keeps the choices of its issue, which of the inputs is which, the
version of this program, and a digest of each template that its words and looks came from.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from handover.base.version import VERSION
from handover.documents.templating import templates_folder
from handover.errors import Finding, UnusableInput
from handover.schedule.simulation import SHARE
from handover.service.publish import INPUTS_FOLDER

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from handover.documents.pages import Paper
    from handover.documents.quantity_format import Units
    from handover.jobs.record import JobRecord
    from handover.service.job_inputs import JobInputs

SETTINGS_FILE = "settings.json"
"""Name among the inputs."""


@dataclass(frozen=True)
class Settings:
    """The choices of an issue.

    Attributes:
        languages: Of the readers; the first is also that of the crew and the office. If left out, the owner
            reads in the language of the record, crew and office in English.
        units: "us" or "si"; if left out, those that most measures of the record are written in.
        paper: "letter" or "a4".
        templates: A contractor's folder whose files stand in for ours.
        rules: Whose rules, as `plan_cure` has it.
        share: How sure a "not before" is to be, likewise.
    """

    languages: tuple[str, ...] | None = None
    units: Units | None = None
    paper: Paper = "letter"
    templates: Path | None = None
    rules: str | None = None
    share: float = SHARE

    def units_for(self, job: JobRecord) -> Units:
        """Return the units of a job's reader."""
        return self.units or job.written_in


@dataclass(frozen=True)
class Provenance:
    """How a set was made.

    Attributes:
        settings: The choices; a contractor's own templates are not kept, and so are missing here.
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
    """Return the inputs of a set together with how it is made."""
    own = settings.templates
    manifest = {
        "program": f"handover {VERSION}",
        "settings": {**asdict(settings), "templates": None},
        "weather": inputs.weather_file,
        "received_at": inputs.received_at.isoformat() if inputs.received_at else None,
        "typical": inputs.typical_file,
        "templates": {"ours": _folder_digest(templates_folder()), "own": _digests(own) if own else {}},
    }
    return {**inputs.files, SETTINGS_FILE: f"{json.dumps(manifest, indent=1)}\n".encode()}


def read_settings(documents: Mapping[str, bytes]) -> Provenance:
    """Return how a set of documents was made.

    Args:
        documents: The set by file name.

    Raises:
        UnusableInput: It does not say so.
    """
    try:
        manifest: dict[str, Any] = json.loads(documents[INPUTS_FOLDER + SETTINGS_FILE])
        chosen = manifest["settings"]
        languages = tuple(chosen["languages"]) if chosen["languages"] else None
        at = manifest["received_at"]
        return Provenance(
            settings=Settings(**{**chosen, "languages": languages}),
            own_look=bool(manifest["templates"]["own"]),
            weather=manifest["weather"],
            typical=manifest["typical"],
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
    """Return one digest of a folder that does not change while the program runs."""
    return sha256(repr(sorted(_digests(folder).items())).encode()).hexdigest()


def _digests(folder: Path) -> dict[str, str]:
    files = sorted(each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): sha256(each.read_bytes()).hexdigest() for each in files}
