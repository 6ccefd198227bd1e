"""Heavy packages come in only where they are needed."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = """
import sys
import {module}
print(sorted({{"pandas", "pvlib", "httpx2", "scipy"}} & set(sys.modules)))
"""


def loaded(module: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM.format(module=module)], capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


def test_the_room_is_light() -> None:
    for module in (
        "handover.weather.series",
        "handover.weather",
        "handover.weather.extrapolate",
        "handover.weather.fit_check",
    ):
        assert loaded(module) == "[]"


def test_the_line_is_the_only_one_that_knows_http() -> None:
    assert loaded("handover.weather.download") == "['httpx2']"
