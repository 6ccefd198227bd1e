"""Shared parts of the charts: a picture with its sentence, positions on a line of days, and ticks."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from handover.base.arrays import distinct
from handover.units import to_reader

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.documents.svg import Drawing
    from handover.documents.wording import Wording
    from handover.units import KindName

CHART_WIDTH = 520.0
LABEL = 14.0


@dataclass(frozen=True)
class Chart:
    """A picture as SVG, and the sentence that says what it shows."""

    svg: Markup
    read: str

    @property
    def for_paper(self) -> Chart:
        """The picture with its title and description in one title, the only one that the PDF engine keeps."""
        svg = re.sub(r"</title><desc>(.*?)</desc>", r". \1</title>", str(self.svg), count=1)
        return Chart(Markup(svg), self.read)  # noqa: S704 - as it was


def draw_chart(drawing: Drawing, read: str) -> Chart:
    """Return a drawing as a chart."""
    return Chart(Markup(str(drawing)), read)  # noqa: S704 - every text in a drawing is escaped


class DayScale:
    """Positions of instants on a line from the pour; early days have more room (a square root)."""

    def __init__(self, start: datetime, days: float, left: float, right: float) -> None:
        self.start = start
        self.days = days
        self.left = left
        self.right = right

    def day(self, days: float) -> float:
        """Return the position of a number of days after the pour."""
        return self.left + (self.right - self.left) * float(np.sqrt(min(max(days / self.days, 0), 1)))

    def at(self, when: datetime) -> float:
        """Return the position of an instant."""
        return self.day((when - self.start) / timedelta(days=1))

    def reaches(self, when: datetime) -> bool:
        """Return whether an instant is on the line."""
        return when - self.start <= timedelta(days=self.days)


def draw_arrow(drawing: Drawing, tip: tuple[float, float], ink: str) -> None:
    """Draw the head of an arrow to the right, at the end of a line that goes on."""
    x, y = tip
    drawing.curve([(x - 7, y - 5), (x, y), (x - 7, y + 5)], ink, 2)


def reader_array(values: Floats, kind: KindName, wording: Wording) -> Floats:
    """Return an array in the reader's unit."""
    zero = to_reader(0, kind, wording.units)[0]
    one = to_reader(1, kind, wording.units)[0]
    return values * (one - zero) + zero


def nice_ticks(highest: float, count: int = 4) -> list[float]:
    """Return round numbers from 0 to just past the highest value."""
    rough = max(highest, 1e-9) / count
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(float(power * each) for each in (1, 2, 2.5, 5, 10) if power * each >= rough)
    return [step * each for each in range(int(np.ceil(highest / step - 1e-9)) + 1)]


def thin(length: int, most: int = 140) -> list[int]:
    """Return the indices of a limited number of points, denser early and always with the last."""
    if length <= most:
        return list(range(length))
    picked = distinct((np.linspace(0, 1, most) ** 2 * (length - 1)).round().astype(int))
    return [int(each) for each in picked]
