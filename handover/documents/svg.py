"""A drawing as an SVG string, built from a few plain elements; every text is escaped."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Point = tuple[float, float]
SvgAttributes = dict[str, float | str | None]
FONT = "Atkinson Hyperlegible, sans-serif"


def format_coordinate(value: float) -> str:
    """Return a coordinate to a tenth, without trailing zeros."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


class Drawing:
    """An SVG picture under construction.

    Args:
        width: Width of the view box; the picture scales to its container.
        height: Height of the view box.
        title: What the picture is, for those who cannot see it.
        desc: What it shows.
        name: Class of the root element; the page's dark style uses classes.
    """

    def __init__(self, width: float, height: float, title: str, desc: str, name: str) -> None:
        self.width = width
        self.height = height
        head = {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {format_coordinate(width)} {format_coordinate(height)}",
            "class": f"chart {name}",
            "role": "img",
            "font-family": FONT,
        }
        self.parts = [
            f"<svg{_attributes(head)}>",
            f"<title>{escape(title)}</title>",
            f"<desc>{escape(desc)}</desc>",
        ]

    def __str__(self) -> str:
        return "".join([*self.parts, "</svg>"])

    def _add(self, tag: str, attributes: SvgAttributes) -> None:
        self.parts.append(f"<{tag}{_attributes(attributes)}/>")

    def line(self, start: Point, end: Point, ink: str, width: float = 1, dash: str | None = None) -> None:
        """Draw a straight line."""
        ends = {"x1": start[0], "y1": start[1], "x2": end[0], "y2": end[1]}
        self._add("line", {**ends, **_stroke(ink, width), "stroke-dasharray": dash})

    def rect(self, corner: Point, width: float, height: float, fill: str, radius: float = 0) -> None:
        """Draw a filled rectangle from its upper left corner."""
        place = {"x": corner[0], "y": corner[1], "width": width, "height": height}
        self._add("rect", {**place, "rx": radius or None, "class": f"f-{fill}", "fill": INKS[fill]})

    def area(self, points: Iterable[Point], fill: str) -> None:
        """Fill a polygon."""
        self._add("path", {"d": path(points) + "Z", "class": f"f-{fill}", "fill": INKS[fill]})

    def curve(self, points: Iterable[Point], ink: str, width: float = 1.5, dash: str | None = None) -> None:
        """Draw a line through points."""
        look = {**_stroke(ink, width), "fill": "none", "stroke-linejoin": "round", "stroke-dasharray": dash}
        self._add("path", {"d": path(points), **look})

    def dot(self, centre: Point, radius: float, fill: str, ring: str | None = None) -> None:
        """Draw a filled disc, optionally with a ring around it."""
        x, y = centre
        round_path = (
            f"M{format_coordinate(x - radius)} {format_coordinate(y)}"
            f"a{format_coordinate(radius)} {format_coordinate(radius)} 0 1 0 "
            f"{format_coordinate(2 * radius)} 0"
            f"a{format_coordinate(radius)} {format_coordinate(radius)} 0 1 0 "
            f"{format_coordinate(-2 * radius)} 0Z"
        )
        edge: SvgAttributes = {"stroke": INKS[ring], "stroke-width": 2} if ring else {}
        names = f"f-{fill}" + (f" s-{ring}" if ring else "")
        self._add("path", {"d": round_path, "class": names, "fill": INKS[fill], **edge})

    def text(
        self,
        at: Point,
        words: str,
        ink: str = "ink",
        size: float = 14,
        *,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """Write one line of text; `anchor` is start, middle or end."""
        look: SvgAttributes = {
            "x": at[0],
            "y": at[1],
            "class": f"f-{ink}",
            "fill": INKS[ink],
            "font-size": size,
            "font-weight": 700 if bold else None,
            "text-anchor": None if anchor == "start" else anchor,
        }
        self.parts.append(f"<text{_attributes(look)}>{escape(words)}</text>")


INKS = {
    "ink": "#16262e",
    "soft": "#4c5a61",
    "rule": "#b9bdb8",
    "wash": "#e9e8e2",
    "paper": "#ffffff",
    "water": "#0b5d7d",
    "wet": "#cfe3ea",
    "warm": "#a5430b",
    "sand": "#f3dfc8",
    "band": "#d2d2cc",
    "slab0": "#f0eee9",
    "slab1": "#e2e1dd",
    "slab2": "#d4d4d1",
    "slab3": "#c6c7c4",
    "slab4": "#b8bab8",
    "slab5": "#aaadac",
    "slab6": "#9ba0a0",
    "slab7": "#8d9394",
    "slab8": "#7f8688",
    "slab9": "#71797b",
    "slab10": "#636c6f",
    "slab11": "#555f63",
}
"""The palette by name. The page redefines the same names for dark mode."""


def path(points: Iterable[Point]) -> str:
    """Return path data through points."""
    return "M" + "L".join(f"{format_coordinate(x)} {format_coordinate(y)}" for x, y in points)


def _stroke(ink: str, width: float) -> SvgAttributes:
    return {"class": f"s-{ink}", "stroke": INKS[ink], "stroke-width": width}


def _attributes(attributes: Mapping[str, float | str | None]) -> str:
    return "".join(
        f" {name}={quoteattr(format_coordinate(value) if isinstance(value, (int, float)) else value)}"
        for name, value in attributes.items()
        if value is not None
    )


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Return the approximate width of a line of text, rather too wide, so that labels do not overlap."""
    return len(words) * size * (0.54 if bold else 0.5)
