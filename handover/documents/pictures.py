"""Pictures of the job (logo, photos): scaled, turned upright, without metadata."""

from __future__ import annotations

import warnings
from base64 import b64encode
from contextlib import contextmanager, suppress
from functools import cache
from io import BytesIO
from typing import TYPE_CHECKING

from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Iterator

    from PIL.Image import Image

MAX_PICTURE_BYTES = 40_000_000
MAX_SIDE_PIXELS = 12_000
MAX_PIXELS = 50_000_000
"""Maximum pixels of a picture, by its header: a small file can hold many more than fit in memory."""

_FORMATS = ("PNG", "JPEG")


def picture_uri(content: bytes, name: str, longest: int) -> str:
    """Return a picture as a data URL, scaled to at most `longest` pixels on its longer side.

    Args:
        content: PNG or JPEG.
        name: Its name in the record, for the finding.
        longest: Maximum pixels of the longer side.

    Raises:
        UnusableInput: It is neither PNG nor JPEG, or it is too large.
    """
    with _open_picture(content, name, longest) as picture:
        kind, data = _encode(picture)
    return f"data:image/{kind.lower()};base64,{b64encode(data).decode()}"


def clean_picture(content: bytes, name: str, longest: int) -> bytes:
    """Return a picture as JPEG, scaled, upright, without metadata; what is see-through is white.

    Args:
        content: PNG or JPEG; or HEIC, as some phones write it, where its library is installed.
        name: What it is called in the finding.
        longest: Maximum pixels of the longer side.

    Raises:
        UnusableInput: It is neither PNG nor JPEG, or it is too large.
    """
    from PIL import Image  # noqa: PLC0415 - heavy

    with _open_picture(content, name, longest, (*_FORMATS, *_formats_of_phones())) as picture:
        kind, data = _encode(picture)
        if kind == "JPEG":
            return data
        above = picture.convert("RGBA")
        paper = Image.new("RGBA", above.size, "white")
        paper.alpha_composite(above)
        return _encode(paper.convert("RGB"))[1]


@contextmanager
def _open_picture(
    content: bytes, name: str, longest: int, formats: tuple[str, ...] = _FORMATS
) -> Iterator[Image]:
    """Give a picture from outside, scaled and upright.

    Raises:
        UnusableInput: It is neither PNG nor JPEG, or it is too large.
    """
    from PIL import UnidentifiedImageError  # noqa: PLC0415 - heavy
    from PIL.Image import DecompressionBombError  # noqa: PLC0415 - heavy
    from PIL.Image import open as read_picture  # noqa: PLC0415 - heavy

    if len(content) > MAX_PICTURE_BYTES:
        raise _unusable(name, "the picture is larger than 40 MB")
    try:
        with _strict_decoding(), read_picture(BytesIO(content), formats=formats) as picture:
            if max(picture.size) > MAX_SIDE_PIXELS:
                raise _unusable(name, f"the picture is more than {MAX_SIDE_PIXELS} pixels wide or high")
            if picture.width * picture.height > MAX_PIXELS:
                raise _unusable(name, f"the picture has more than {MAX_PIXELS / 1e6:.0f} million pixels")
            picture.thumbnail((longest, longest))
            _turn_upright(picture)
            yield picture
    except DecompressionBombError as fault:
        raise _unusable(name, f"the picture is more than {MAX_SIDE_PIXELS} pixels wide or high") from fault
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as fault:
        raise _unusable(name, "the file cannot be read as a picture") from fault


@cache
def _formats_of_phones() -> tuple[str, ...]:
    """Return the further formats that can be opened here."""
    try:
        from pillow_heif import register_heif_opener  # noqa: PLC0415 - optional
    except ImportError:
        return ()
    register_heif_opener()
    return ("HEIF",)


@contextmanager
def _strict_decoding() -> Iterator[None]:
    """Refuse a truncated picture, which the PDF engine would show, and ignore warnings about EXIF."""
    from PIL import ImageFile  # noqa: PLC0415 - heavy

    halves = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = halves


def _turn_upright(picture: Image) -> None:
    """Turn a picture upright by EXIF; if EXIF cannot be read, leave it as it is."""
    from PIL.ImageOps import exif_transpose  # noqa: PLC0415 - heavy

    with suppress(Exception):  # EXIF may be damaged in any way; the picture is good
        exif_transpose(picture, in_place=True)


def _encode(picture: Image) -> tuple[str, bytes]:
    """Return the format of a picture and its bytes, without metadata."""
    see_through = picture.mode in {"RGBA", "LA", "P"}
    kind, mode = ("PNG", "RGBA") if see_through else ("JPEG", "RGB")
    clean = picture.convert(mode)
    clean.info.clear()
    out = BytesIO()
    clean.save(out, kind, **({"quality": 82} if kind == "JPEG" else {"optimize": False}))
    return kind, out.getvalue()


def _unusable(name: str, problem: str) -> UnusableInput:
    return UnusableInput([Finding(problem=problem, file=name, expected="a PNG or JPEG picture")])
