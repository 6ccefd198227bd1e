"""A good record to spoil, and ways to have it examined."""

import copy
import json
import tomllib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from handover.jobs.reading import ExaminedRecord, examine_job

Examine = Callable[..., ExaminedRecord]

GOOD = """\
id = "2026-07-14-alder-garage"

[site]
name = "Alder Lane garage"
latitude = 36.10
longitude = -79.95

[slab]
use = "garage floor"
length = "34 ft"
width = "26 ft"
thickness = "4 in"

[placement]
start = 2026-07-14T06:10:00
end = 2026-07-14T07:25:00

[mix]
specified_strength = "3000 psi"
"""


@pytest.fixture
def good() -> str:
    """The text of a record with nothing but what must be there."""
    return GOOD


@pytest.fixture
def examine(tmp_path: Path) -> Examine:
    """Examine a text, or bytes, as the file job.toml."""

    def examine(content: str | bytes, name: str = "job.toml") -> ExaminedRecord:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return examine_job(path)

    return examine


@pytest.fixture
def spoil(examine: Examine) -> Examine:
    """Examine the good record with keys set (or taken out: None), given by their path."""

    def spoil(changes: dict[str, Any]) -> ExaminedRecord:
        tables = copy.deepcopy(tomllib.loads(GOOD))
        for path, value in changes.items():
            *way, last = path.split(".")
            table = tables
            for key in way:
                table = table.setdefault(key, {})
            if value is None:
                table.pop(last, None)
            else:
                table[last] = value
        return examine(json.dumps(tables, default=datetime.isoformat))

    return spoil


@pytest.fixture
def samples() -> Path:
    """The folder of the sample jobs."""
    return Path(__file__).parents[2] / "sample_jobs"
