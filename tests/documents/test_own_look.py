"""A contractor's own look, from a folder beside ours: template, text, words, colour, icon and logo."""

from __future__ import annotations

import io
import subprocess
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest
from PIL import Image

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
    folder = tmp_path / "ours"
    for name, text in OWN.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def issued(
    own_look: Path,
    run: Callable[..., Any],
    record: Path,
    record_text: str,
    weather: Path,
    as_of: str,
    tmp_path: Path,
) -> Path:
    logo = io.BytesIO()
    Image.new("RGB", (600, 180), "#3b2f63").save(logo, "PNG")
    (record.parent / "logo.png").write_bytes(logo.getvalue())
    text = record_text.replace("[contractor]\n", '[contractor]\nlogo = "logo.png"\n')
    record.write_text(text, encoding="utf-8")
    told = run(
        "issue", record, "-w", weather, "-o", tmp_path / "out", "--as-of", as_of, "--templates", own_look
    )
    assert told.status == 0, told.err
    return tmp_path / "out"


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


def test_the_page_is_theirs(issued: Path) -> None:
    page = (issued / "care-page.html").read_text(encoding="utf-8")
    assert "Our own word on <strong>patches</strong>." in page
    assert "#3b2f63" in page
    assert "M1 1h22v22z" in page
    assert 'class="logo"' in page


def test_the_letter_is_theirs(issued: Path) -> None:
    assert "Our own letter." in (issued / "message.eml").read_text(encoding="utf-8")
