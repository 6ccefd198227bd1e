"""The icons, drawn on a square of 24 units with one line width, and what each is for."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import quote

from handover.documents.templating import read_text

if TYPE_CHECKING:
    from pathlib import Path

ICON_OF_KIND = {
    "first-water": "water",
    "saw-joints": "saw",
    "strip-edge-forms": "board",
    "foot-traffic": "foot",
    "light-work": "work",
    "light-vehicles": "car",
    "heavy-vehicles": "truck",
    "frost-safe": "frost",
    "protection-ends": "frost",
    "freeze-thaw": "frost",
    "curing-ends": "end",
    "seal": "roller",
    "heating": "flame",
    "floor-covering": "tile",
    "deicing-salt": "salt",
    "initial-set": "board",
    "final-set": "board",
}
"""The icon of each date."""

ICON_OF_CAUTION = {
    "caustic": "glove",
    "silica": "mask",
    "slips": "slip",
    "electricity": "plug",
    "heaters": "flame",
    "nails": "nail",
    "children-animals": "child",
    "frost": "frost",
    "cold-weather": "frost",
    "room-heat": "frost",
    "hot-discharge": "sun",
    "hot-inside": "flame",
    "drying": "sun",
    "curing-water": "water",
    "wet-dry": "water",
    "rain-on-fresh": "rain",
    "heavy-trucks": "truck",
    "saw-in-stages": "saw",
    "saw-in-order": "saw",
    "scaling": "salt",
    "heated": "flame",
    "pipes-freeze": "frost",
    "flooring": "tile",
    "smooth-outdoors": "slip",
    "steep": "water",
    "weak-in-frost": "frost",
}
"""The icon of a caution; any other has the plain warning sign."""


ICON_NAMES = tuple(sorted({*ICON_OF_KIND.values(), *ICON_OF_CAUTION.values(), "mind", "phone", "calendar"}))


def icon_uri(name: str, templates: Path | None = None) -> str:
    """Return an icon as a data URL for a style sheet."""
    drawing = re.sub(r"<!--.*?-->|\s+", " ", read_text(f"icons/{name}.svg", templates))
    return "data:image/svg+xml," + quote(drawing.strip(), safe="/ =:'")
