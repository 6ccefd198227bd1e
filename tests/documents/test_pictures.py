"""Pictures of the job: made small, turned upright, and silent on where and by what they were taken."""

from __future__ import annotations

import io
import re
from base64 import b64decode
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest
from PIL import Image, ImageFile, PngImagePlugin

from handover.documents.pages import care_sheet_html, render_care_page, sheet_pdf
from handover.documents.pictures import picture_uri
from handover.documents.wording import Wording
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from handover.schedule.model import CureSchedule

SECRET = b"36.0726N-Workbench-Camera-No-5550142"
GPS = {1: "N", 2: (36.0, 4.0, 21.36), 3: "W", 4: (79.0, 47.0, 31.2)}
XMP = b'http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta xmlns:x="adobe:ns:meta/">' + SECRET + b"</x:xmpmeta>"

# Where the corner that is red in the file belongs, by the orientation of EXIF 2.3, table of tag 0x0112:
# the row 0 and the column 0 of the file are, in this order, the named sides of the scene.
CORNER = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("top", "left"), 6: ("top", "right"), 7: ("bottom", "right"), 8: ("bottom", "left"),
}  # fmt: skip


def photo(kind: str = "JPEG", orientation: int = 1, size: tuple[int, int] = (400, 200)) -> bytes:
    """Return a grey photo, red in the corner at row 0 and column 0, with all the metadata of a phone."""
    image = Image.new("RGB", size, "#808080")
    image.paste((255, 0, 0), (0, 0, size[0] // 4, size[1] // 4))
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010E] = exif[0x0110] = exif[0x013B] = SECRET.decode()
    exif[0x8825] = GPS
    out = io.BytesIO()
    if kind == "PNG":
        info = PngImagePlugin.PngInfo()
        info.add_text("Comment", SECRET.decode())
        info.add_itxt("XML:com.adobe.xmp", SECRET.decode())
        image.save(out, "PNG", exif=exif, pnginfo=info)
    else:
        image.save(out, "JPEG", exif=exif, comment=SECRET, xmp=XMP, icc_profile=SECRET * 8, quality=95)
    return out.getvalue()


def shown(content: bytes, longest: int = 100) -> tuple[bytes, Image.Image]:
    """Return what a document shows of a picture: its bytes, and what they hold."""
    data = b64decode(picture_uri(content, "photo", longest).partition(",")[2])
    image = Image.open(io.BytesIO(data))
    image.load()
    return data, image


def is_red(image: Image.Image, row: str, column: str) -> bool:
    width, height = image.size
    at = (3 if column == "left" else width - 4, 3 if row == "top" else height - 4)
    red, green, blue = image.convert("RGB").getpixel(at)
    return red > 200 and green < 80 and blue < 80


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("orientation", CORNER)
def test_a_picture_is_upright(kind: str, orientation: int) -> None:
    _, image = shown(photo(kind, orientation))
    on_its_side = orientation >= 5
    assert image.size == ((50, 100) if on_its_side else (100, 50))
    corners = {(row, column) for row in ("top", "bottom") for column in ("left", "right")}
    assert {each for each in corners if is_red(image, *each)} == {CORNER[orientation]}
    assert 0x0112 not in image.getexif()  # or it would be turned once more


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_picture_has_no_metadata(kind: str) -> None:
    before = photo(kind)
    assert SECRET in before
    assert dict(Image.open(io.BytesIO(before)).getexif().get_ifd(0x8825))[2] == GPS[2]
    data, image = shown(before)
    assert SECRET not in data
    assert not image.getexif()
    assert not image.getexif().get_ifd(0x8825)
    assert not {"exif", "xmp", "comment", "icc_profile", "Comment", "XML:com.adobe.xmp"} & set(image.info)
    for mark in (b"Exif", b"eXIf", b"http://ns.adobe.com", b"tEXt", b"iTXt", b"ICC_PROFILE"):
        assert mark not in data


@pytest.mark.parametrize("size", [(400, 200), (200, 400), (4000, 30), (60, 40)])
def test_a_picture_is_made_small_and_never_large(size: tuple[int, int]) -> None:
    _, image = shown(photo(size=size))
    assert max(image.size) <= max(100, 1)
    assert max(image.size) == min(max(size), 100)
    if min(size) > 30:
        assert image.width / image.height == pytest.approx(size[0] / size[1], rel=0.05)


@pytest.mark.parametrize("cut", range(2, 200, 7))
def test_broken_notes_in_a_picture_are_no_fault_of_the_program(cut: int) -> None:
    """The EXIF of a photo with one byte after another spoilt: it is shown, or it is a finding."""
    content = bytearray(photo(orientation=6))
    start = content.index(b"Exif") + 4
    content[start + cut] ^= 0xFF
    try:
        data, image = shown(bytes(content))
    except UnusableInput:
        return
    assert SECRET not in data
    assert max(image.size) == 100


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("lenient", [True, False])
def test_half_a_picture_is_a_finding(share: float, lenient: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", lenient)  # as the PDF engine leaves it
    content = photo(size=(1200, 900))
    with pytest.raises(UnusableInput) as refused:
        picture_uri(content[: int(len(content) * share)], "photos/door.jpg", 100)
    assert refused.value.findings[0].file == "photos/door.jpg"


@pytest.mark.parametrize("size", [(12_001, 1), (14_000, 14_000)])
def test_a_picture_that_would_fill_the_memory_is_a_finding(size: tuple[int, int]) -> None:
    out = io.BytesIO()
    Image.new("1", size).save(out, "PNG")
    with pytest.raises(UnusableInput, match="12000 pixels"):
        picture_uri(out.getvalue(), "door.png", 100)


# ---- in the documents


@pytest.fixture
def job(job_with: Any) -> Any:
    return job_with(
        contractor={"name": "Three Rivers Flatwork", "logo": "logo.png"},
        walkthrough=({"item": "Door line", "ok": False, "note": "We come back.", "photo": "door.jpg"},),
    )


PICTURES = {"logo.png": photo("PNG"), "door.jpg": photo(orientation=6, size=(3000, 2000))}


def test_the_page_shows_them_so(job: Any, schedule: CureSchedule) -> None:
    page = render_care_page(Wording(job, schedule), pictures=PICTURES).decode()
    inside = [
        b64decode(each) for each in re.findall(r'<img[^>]*src="data:image/[a-z]+;base64,([^"]+)"', page)
    ]
    assert len(inside) == 2
    assert not any(SECRET in each or b"Exif" in each for each in inside)
    images = [Image.open(io.BytesIO(each)) for each in inside]
    assert any(each.height > each.width for each in images)  # the one that lay on its side
    assert all(max(each.size) <= 700 for each in images)


def test_the_sheet_shows_them_so(job: Any, schedule: CureSchedule) -> None:
    with pikepdf.open(
        io.BytesIO(sheet_pdf(care_sheet_html(Wording(job, schedule), pictures=PICTURES)))
    ) as pdf:
        drawn = [
            each
            for each in pdf.objects
            if isinstance(each, pikepdf.Stream) and each.get("/Subtype") == "/Image"
        ]
        sizes = {(int(each.Width), int(each.Height)) for each in drawn}
        assert any(height > width for width, height in sizes)
        assert all(max(size) <= 700 for size in sizes)
        for each in drawn:
            assert SECRET not in each.read_raw_bytes()
            assert b"Exif" not in each.read_raw_bytes()
