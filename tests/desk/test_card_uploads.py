"""Pictures and signatures are decoded and written anew."""

from __future__ import annotations

from io import BytesIO
from xml.etree.ElementTree import fromstring

import pytest
from PIL import Image

from handover.errors import UnusableInput
from handover.service.desk.card_uploads import PICTURE_SIDE, draw_signature, picture_name, write_picture


def picture(size: tuple[int, int], kind: str, mode: str = "RGB", exif: Image.Exif | None = None) -> bytes:
    out = BytesIO()
    Image.new(mode, size, (200, 40, 40, 0)[: len(mode)]).save(out, kind, **({"exif": exif} if exif else {}))
    return out.getvalue()


def test_a_picture_is_small_and_has_no_place() -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8825)[2] = (36.0, 6.0, 0.0)  # GPSLatitude
    exif[0x010F] = "A maker of phones"
    original = picture((4000, 3000), "JPEG", exif=exif)
    assert b"A maker of phones" in original
    written = write_picture(original)
    with Image.open(BytesIO(written)) as found:
        assert found.format == "JPEG"
        assert found.size == (PICTURE_SIDE, PICTURE_SIDE * 3 // 4)
        assert not found.getexif()
    assert b"A maker of phones" not in written


def test_a_picture_that_is_turned_by_its_data_is_turned_in_its_pixels() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # a quarter turn
    with Image.open(BytesIO(write_picture(picture((400, 300), "JPEG", exif=exif)))) as found:
        assert found.size == (300, 400)


def test_a_picture_in_the_format_of_some_phones_becomes_jpeg() -> None:
    heif = pytest.importorskip("pillow_heif")
    out = BytesIO()
    heif.from_pillow(Image.new("RGB", (400, 300), "grey")).save(out)
    with Image.open(BytesIO(write_picture(out.getvalue()))) as found:
        assert (found.format, found.size) == ("JPEG", (400, 300))


def test_what_is_see_through_becomes_white() -> None:
    with Image.open(BytesIO(write_picture(picture((40, 30), "PNG", "RGBA")))) as found:
        assert found.mode == "RGB"
        assert found.getpixel((5, 5)) == (255, 255, 255)


@pytest.mark.parametrize(
    "content", [b"", b"<svg onload='x'/>", picture((40, 30), "JPEG")[:200], b"GIF89a" * 9]
)
def test_what_is_no_picture_is_refused(content: bytes) -> None:
    with pytest.raises(UnusableInput):
        write_picture(content)


@pytest.mark.parametrize("about", ["slab", "ticket[2]", "walkthrough[joints]"])
def test_a_picture_is_of_something_on_the_card(about: str) -> None:
    assert picture_name(about).format(number=3) == f"photos/{about.partition('[')[0]}-3.jpg"


@pytest.mark.parametrize("about", ["", "../x", "ticket[../x]", "signature-owner", "ticket[{number}]"])
def test_a_picture_of_something_else_is_refused(about: str) -> None:
    with pytest.raises(UnusableInput):
        picture_name(about)


def test_a_signature_is_drawn_from_its_points_alone() -> None:
    drawn = fromstring(draw_signature([[[0, 0], [10, 20], [1000, 320]], [[5, 5], [5, 5]]]))  # noqa: S314 - our own
    lines = drawn.findall(".//{http://www.w3.org/2000/svg}polyline")
    assert [each.get("points") for each in lines] == ["0,0 10,20 1000,320", "5,5 5,5"]


def test_a_signature_that_was_cleared_has_no_bytes() -> None:
    assert draw_signature([]) == b""


@pytest.mark.parametrize(
    "strokes",
    [
        None, "x", {}, [[]], [[["0", "0"]]], [[[0]]], [[[0, 1, 2]]], [[[-1, 0]]], [[[0, 321]]], [[[True, 0]]],
        [[[0.5, 0]]], [[[0, 0]] * 20_001], [3],
    ],
)  # fmt: skip
def test_what_is_no_signature_is_refused(strokes: object) -> None:
    with pytest.raises(UnusableInput):
        draw_signature(strokes)
