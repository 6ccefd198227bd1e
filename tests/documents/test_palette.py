"""The colours: every text on every background, by the contrast that WCAG 2.2 asks for.

Source: WCAG 2.2, success criteria 1.4.3 (text: 4.5 to 1) and 1.4.11 (what a picture says: 3 to 1);
relative luminance and contrast ratio as its glossary defines them.
"""

from __future__ import annotations

import re

import pytest

from handover.documents.svg import INKS
from handover.documents.templating import read_text

TEXT, SHAPE = 4.5, 3.0
INK = "#16262e"


def luminance(colour: str) -> float:
    """Return the relative luminance of "#rrggbb" or "#rgb"."""
    digits = colour.lstrip("#")
    pairs = [each * 2 for each in digits] if len(digits) == 3 else re.findall("..", digits)
    linear = [
        value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        for value in (int(pair, 16) / 255 for pair in pairs)
    ]
    return sum(share * value for share, value in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000", "#fff", 21.0),  # the definition's own ends
        ("#fff", "#fff", 1.0),
        ("#777777", "#ffffff", 4.48),  # the grey that WCAG's techniques (G18) name as just failing
        ("#767676", "#ffffff", 4.54),  # and the one that just passes
    ],
)
def test_contrast_is_measured_as_defined(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


def rules(name: str) -> list[tuple[str, dict[str, str]]]:
    """Return the rules of a style sheet: selector and declarations."""
    style = re.sub(r"/\*.*?\*/", "", read_text(f"style/{name}.css"), flags=re.DOTALL)
    found = []
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", style):
        pairs = (each.split(":", 1) for each in body.split(";") if ":" in each)
        found.append((selector.strip(), {key.strip(): value.strip() for key, value in pairs}))
    return found


HEX = re.compile(r"#[0-9a-f]{3,6}\b")


@pytest.mark.parametrize("name", ["sheet", "data"])
def test_paper(name: str) -> None:
    """A text whose rule names no background may be on any light one; a background has the body's ink."""
    grounds = {"#ffffff"}
    inks = {INK}
    for selector, look in rules(name):
        ink = HEX.search(look.get("color", ""))
        ground = HEX.search(look.get("background", ""))
        if ink and ground:
            assert contrast(ink[0], ground[0]) >= TEXT, selector
        elif ground:
            grounds.add(ground[0])
        elif ink:
            inks.add(ink[0])
    assert len(inks) > 1
    for ink in inks:
        for ground in grounds:
            assert contrast(ink, ground) >= TEXT, f"{ink} on {ground}"


def schemes() -> dict[str, dict[str, str]]:
    """Return the colours of the page by name, in the light, the dark and on paper."""
    found: dict[str, dict[str, str]] = {}
    for name, (_, look) in zip(
        ("light", "dark", "print"), (each for each in rules("page") if ":root" in each[0]), strict=True
    ):
        own = {key.removeprefix("--"): value for key, value in look.items() if key.startswith("--")}
        found[name] = {**found.get("light", {}), **own}
    return found


# Text and its background, as the style of the page pairs them.
PAIRS = [
    *[(ink, ground) for ink in ("ink", "soft") for ground in ("paper", "wash")],
    ("on-panel", "panel"),
    ("on-call", "call"),
    ("water", "wet"),
    ("warm", "paper"),
]


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(("ink", "ground"), PAIRS)
def test_page(scheme: str, ink: str, ground: str) -> None:
    colours = schemes()[scheme]
    assert contrast(colours[ink], colours[ground]) >= TEXT


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("shape", ["ink", "soft", "water", "warm"])
def test_shapes_of_the_charts(scheme: str, shape: str) -> None:
    colours = schemes()[scheme]
    assert contrast(colours[shape], colours["paper"]) >= SHAPE


@pytest.mark.parametrize(
    ("ink", "ground"), [("ink", "paper"), ("soft", "paper"), ("warm", "paper"), ("water", "wet")]
)
def test_charts_on_paper(ink: str, ground: str) -> None:
    assert contrast(INKS[ink], INKS[ground]) >= TEXT


def test_the_slab_darkens_step_by_step() -> None:
    """In grey, too, each tone of the slab is darker than the one before."""
    tones = [luminance(colour) for name, colour in INKS.items() if name.startswith("slab")]
    assert tones == sorted(tones, reverse=True)
    assert contrast(INKS["slab0"], INKS["slab11"]) >= SHAPE
