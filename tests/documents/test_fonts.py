"""The zero of the papers has no slash, and nothing else of the typeface differs from the package."""

from __future__ import annotations

from importlib.resources import files
from io import BytesIO
from itertools import pairwise

import pytest
from fontTools.ttLib import TTFont
from PIL import Image, ImageDraw, ImageFont

from handover.documents.fonts import PACKAGE, WEIGHTS, font_file

SIZE = 200
BLACK, WHITE = 0, 255
SIDES = ("xMin", "xMax", "yMin", "yMax")


def packaged(weight: int) -> bytes:
    return files(PACKAGE).joinpath("files", WEIGHTS[weight]).read_bytes()


def zero(font: bytes, *, tabular: bool = False) -> Image.Image:
    """Return a picture of the digit, as large as the digit."""
    face = ImageFont.truetype(BytesIO(font), SIZE)
    if tabular:  # the glyph that stands for the digit in tables, under the digit's own code
        changed = TTFont(BytesIO(font))
        for table in changed["cmap"].tables:
            table.cmap[ord("0")] = "zero.tf"
        out = BytesIO()
        changed.save(out)
        face = ImageFont.truetype(BytesIO(out.getvalue()), SIZE)
    picture = Image.new("L", (SIZE, SIZE * 2), WHITE)
    ImageDraw.Draw(picture).text((20, 20), "0", font=face, fill=BLACK)
    return picture.crop(picture.point(lambda each: WHITE - each).getbbox())


@pytest.mark.parametrize("weight", WEIGHTS)
def test_the_zero_has_no_slash(weight: int) -> None:
    """Within the outline, the middle of the digit is empty from its left side to its right."""
    before, after = zero(packaged(weight)), zero(font_file(weight))
    middle = (after.width // 2, after.height // 2)
    assert before.getpixel(middle) < WHITE // 2
    for picture in (after, zero(font_file(weight), tabular=True)):
        assert picture.getpixel(middle) == WHITE
        row = [picture.getpixel((x, middle[1])) < WHITE // 2 for x in range(picture.width)]
        assert sum(one != other for one, other in pairwise(row)) == 2


@pytest.mark.parametrize("weight", WEIGHTS)
def test_widths_and_other_glyphs_are_those_of_the_package(weight: int) -> None:
    before, after = (TTFont(BytesIO(each)) for each in (packaged(weight), font_file(weight)))
    assert before["hmtx"].metrics == after["hmtx"].metrics
    assert before.getGlyphOrder() == after.getGlyphOrder()
    changed = {each for each in before.getGlyphOrder() if before["glyf"][each] != after["glyf"][each]}
    assert changed == {"zero"}
    boxes = [[getattr(font["glyf"]["zero"], side) for side in SIDES] for font in (before, after)]
    assert boxes[0] == boxes[1]
    assert font_file(weight) == font_file(weight)
