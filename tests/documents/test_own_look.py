"""A contractor's own look, from a folder beside ours: template, text, words, colour, icon, font and logo."""

from __future__ import annotations

import io
import json
import re
import subprocess
import tomllib
from base64 import b64decode
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest
from fontTools.ttLib import TTFont
from PIL import Image

from handover.cli import main
from handover.documents.fonts import font_file
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

OWN = {
    "style/own.css": ".banner .now { background: #3b2f63 }\n.now { background: #3b2f63 !important }\n",
    "en/normal.md": "- Our own word on **patches**.\n",
    "en/words.toml": '[sheet]\nname = "Your slab, from us"\n',
    "icons/foot.svg": '<svg xmlns="http://www.w3.org/2000/svg"><path d="M1 1h22v22z"/></svg>',
    "message.html": "<p>Our own letter.</p>\n",
}


@pytest.fixture
def own_look(tmp_path: Path) -> Path:
    return lay_out(tmp_path / "ours")


def lay_out(folder: Path) -> Path:
    """Write what a contractor has of their own to a folder."""
    for name, text in OWN.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    (folder / "fonts").mkdir()
    (folder / "fonts" / "regular.ttf").write_bytes(their_font())
    return folder


def their_font(**rights: int) -> bytes:
    """Return another font than ours: its names say so, and its letters are wider apart."""
    font = TTFont(io.BytesIO(font_file(400)), recalcTimestamp=False)
    for record in font["name"].names:
        if record.nameID in {1, 4, 6, 16}:
            record.string = "QuarrySans"
    widths = font["hmtx"].metrics
    for letter, (width, bearing) in widths.items():
        widths[letter] = (width + 40, bearing)
    font["OS/2"].fsType = rights.get("rights", 0)
    written = io.BytesIO()
    font.save(written)
    return written.getvalue()


@pytest.fixture(scope="session")
def issued(
    once: Callable[..., Path], record_text: str, hourly: Callable[..., dict[str, Any]], as_of: str
) -> Path:
    """Issue a job in a contractor's own look; return its folder. Nothing is written there."""

    def issue(folder: Path) -> None:
        Image.new("RGB", (600, 180), "#3b2f63").save(folder / "logo.png")
        text = record_text.replace("[contractor]\n", '[contractor]\nlogo = "logo.png"\n')
        (folder / "job.toml").write_text(f"{COMMENT}\n{text}", encoding="utf-8")
        (folder / "weather.json").write_text(json.dumps(hourly()), encoding="utf-8")
        command = ["issue", folder / "job.toml", "-w", folder / "weather.json", "-o", folder / "out"]
        command += ["--as-of", as_of, "--templates", lay_out(folder / "ours")]
        assert main([str(each) for each in command]) == 0

    return once("own-look", issue) / "out"


COMMENT = "# mind the dog, and the owner"


def test_the_owners_sheet_has_the_record_without_what_the_crew_noted_in_it(issued: Path) -> None:
    """The data sheet, which the office keeps, has it as it was received."""
    held = {}
    for name in ("care-sheet.pdf", "data-sheet.pdf"):
        with pikepdf.open(issued / name) as pdf:
            held[name] = pdf.attachments["job-record.toml"].get_file().read_bytes()
    assert held["data-sheet.pdf"] == (issued / "inputs" / "job.toml").read_bytes()
    assert COMMENT.encode() in held["data-sheet.pdf"]
    assert b"#" not in held["care-sheet.pdf"]
    assert tomllib.loads(held["care-sheet.pdf"].decode()) == tomllib.loads(held["data-sheet.pdf"].decode())


def test_the_sheet_is_theirs(issued: Path) -> None:
    said = subprocess.run(
        ["pdftotext", issued / "care-sheet.pdf", "-"], capture_output=True, text=True, check=True
    )
    assert "Our own word on patches." in said.stdout
    assert "Your slab, from us" in said.stdout
    assert "Call us if you see this" in said.stdout, "what they leave alone is ours"
    with pikepdf.open(issued / "care-sheet.pdf") as pdf:
        assert (
            len([each for each in pdf.pages[0].Resources.XObject.values() if each.Subtype == "/Image"]) == 1
        )
        colours = {
            tuple(round(float(part) * 255) for part in step.operands)
            for step in pikepdf.parse_content_stream(pdf.pages[0])
            if str(step.operator) == "rg"
        }
    assert (0x3B, 0x2F, 0x63) in colours


@pytest.mark.parametrize("name", ["care-sheet.pdf", "data-sheet.pdf"])
def test_the_letters_are_theirs(issued: Path, name: str) -> None:
    """Text that is not bold is in their font, which is embedded: its letters are as wide as theirs."""
    theirs, ours = (widths(each) for each in (their_font(), font_file(700)))
    with pikepdf.open(issued / name) as pdf:
        fonts = pdf.pages[0].Resources.Font
        used = {
            str(step.operands[0])
            for step in pikepdf.parse_content_stream(pdf.pages[0])
            if str(step.operator) == "Tf"
        }
        assert used == set(fonts)
        for font in fonts.values():
            (inner,) = font.DescendantFonts
            embedded = widths(inner.FontDescriptor.FontFile2.read_bytes())
            kept = ours if "Bold" in str(font.BaseFont) else theirs
            drawn = [number for number, width in enumerate(embedded) if width]
            assert len(drawn) > 20
            assert [embedded[each] for each in drawn] == [kept[each] for each in drawn]


def widths(font: bytes) -> list[int]:
    """Return the width of every letter of a font, in its order."""
    opened = TTFont(io.BytesIO(font))
    return [opened["hmtx"][name][0] for name in opened.getGlyphOrder()]


def test_the_letters_of_the_page_are_theirs(issued: Path) -> None:
    page = (issued / "care-page.html").read_text(encoding="utf-8")
    packed = re.findall(r"data:font/woff;base64,([^\"]+)", page)
    names = [TTFont(io.BytesIO(b64decode(each)))["name"].getDebugName(6) for each in packed]
    assert names == ["QuarrySans", "AtkinsonHyperlegible-Bold"]


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"no font", "cannot be read as a font"), (their_font(rights=2), "forbids embedding it")],
)
def test_a_font_that_cannot_be_used_is_a_finding(own_look: Path, content: bytes, said: str) -> None:
    (own_look / "fonts" / "regular.ttf").write_bytes(content)
    with pytest.raises(UnusableInput, match=said):
        font_file(400, own_look)


def test_the_page_is_theirs(issued: Path) -> None:
    page = (issued / "care-page.html").read_text(encoding="utf-8")
    assert "Our own word on <strong>patches</strong>." in page
    assert "#3b2f63" in page
    assert "M1 1h22v22z" in page
    assert 'class="logo"' in page


def test_the_letter_is_theirs(issued: Path) -> None:
    assert "Our own letter." in (issued / "message.eml").read_text(encoding="utf-8")
