"""The care page in a real browser: what axe-core finds against it, and whether it fits a phone.

It needs Chromium, and axe-core through npm; without them these tests are skipped, loudly.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from html import escape, unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest

from handover.documents.pages import care_page_html
from handover.documents.templating import languages
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

AXE = Path(__file__).parents[1] / "node" / "node_modules" / "axe-core" / "axe.min.js"
PHONE, DESKTOP = 390, 1280
NARROWEST = 500
"""The browser opens no window narrower than this."""

# WCAG 2.2 to level AA, and what axe calls best practice.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN_AXE = """
axe.run(document, {runOnly: %s}).then(found => {
  const told = window.top.document.createElement('pre')
  told.id = 'told'
  told.textContent = JSON.stringify({
    violations: found.violations.map(each => [each.id, each.help, each.nodes.map(node => node.html)]),
    passes: found.passes.map(each => each.id),
    wide: window.innerWidth,
    needs: document.documentElement.scrollWidth,
  })
  window.top.document.body.append(told)
})
"""


@pytest.fixture(scope="session")
def axe() -> str:
    """Return axe-core, from where `.ci/environment --tests` puts what Node brings."""
    if not AXE.is_file():
        pytest.skip(
            "NOT CHECKED for people who cannot see well: axe-core is not here (make test-environment)"
        )
    return AXE.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def chromium() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if not found:
        pytest.skip("NOT CHECKED in a browser: Chromium is not here (apt-get install chromium)")
    return found


def seen(chromium: str, page: str, width: int, folder: Path) -> dict[str, Any]:
    """Open a page in a window of a width and return what its script told."""
    file = folder / "page.html"
    file.write_text(page if width > NARROWEST else framed(page, width), encoding="utf-8")
    ran = subprocess.run(
        [
            chromium,
            "--headless",
            "--disable-gpu",
            *(["--no-sandbox"] if os.geteuid() == 0 else []),
            f"--user-data-dir={folder / 'profile'}",
            f"--window-size={max(width, NARROWEST)},900",
            "--virtual-time-budget=30000",
            "--dump-dom",
            file.as_uri(),
        ],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    told = re.search(r'<pre id="told">(.*?)</pre>', ran.stdout, re.DOTALL)
    assert told, ran.stderr[-500:]
    return dict(json.loads(unescape(told[1])))


def framed(page: str, width: int) -> str:
    """Return a page in a frame as wide as a phone."""
    return (
        f'<!doctype html><body><iframe width="{width}" height="800" frameborder="0" srcdoc="{escape(page)}">'
    )


def with_axe(page: str, axe: str, *, dark: bool) -> str:
    """Return a page that runs axe on itself, in the light or in the dark; its own policy forbids scripts."""
    page, policies = re.subn(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    page, schemes = re.subn(
        r"@media \(prefers-color-scheme: dark\)", f"@media {'' if dark else 'not '}all", page
    )
    assert (policies, schemes) == (1, 1)
    run = RUN_AXE % json.dumps(TAGS)
    return page.replace("</body>", f"<script>{axe}</script><script>{run}</script></body>")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desktop"])
@pytest.mark.parametrize("language", languages())
def test_axe_finds_nothing(
    language: str,
    width: int,
    dark: bool,
    axe: str,
    chromium: str,
    module_inputs: tuple[JobRecord, CureSchedule],
    tmp_path: Path,
) -> None:
    page = care_page_html(Wording(*module_inputs, language=language))
    told = seen(chromium, with_axe(page, axe, dark=dark), width, tmp_path)
    assert told["violations"] == []
    assert {"color-contrast", "image-alt", "th-has-data-cells", "html-has-lang"} & set(told["passes"])
    assert told["wide"] == width
    assert told["needs"] <= width, "the page is wider than the window"


def test_axe_would_find_a_fault(
    axe: str, chromium: str, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    page = care_page_html(Wording(*module_inputs)).replace("--soft:#4c5a61", "--soft:#b4bec2")
    told = seen(chromium, with_axe(page, axe, dark=False), PHONE, tmp_path)
    assert "color-contrast" in {each[0] for each in told["violations"]}


def test_the_page_prints_like_a_sheet(
    chromium: str, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    """A week of watering is a table on paper, and nothing is spread thin: the sheet itself has four pages."""
    page, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text(care_page_html(Wording(*module_inputs)), encoding="utf-8")
    subprocess.run(
        [
            chromium,
            "--headless",
            "--disable-gpu",
            *(["--no-sandbox"] if os.geteuid() == 0 else []),
            f"--user-data-dir={tmp_path / 'profile'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={printed}",
            page.as_uri(),
        ],
        capture_output=True,
        check=True,
        timeout=120,
    )
    with pikepdf.open(printed) as pdf:
        assert len(pdf.pages) <= 5
    told = subprocess.run(["pdftotext", "-layout", printed, "-"], capture_output=True, text=True, check=True)
    (row,) = (line for line in told.stdout.splitlines() if "Wednesday, July 15" in line and " to " in line)
    assert "6:30 to 7:30 am" in row
    assert "12:00 to 1:00 pm" in row


def test_the_page_reads_without_styles(
    chromium: str, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    words = Wording(*module_inputs)
    page = re.sub(r"<style.*?</style>| style=\"[^\"]*\"", "", care_page_html(words), flags=re.DOTALL)
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    tell = """
    const told = document.createElement('pre')
    told.id = 'told'
    told.textContent = JSON.stringify({
      text: document.body.innerText, wide: innerWidth, needs: document.documentElement.scrollWidth,
    })
    document.body.append(told)
    """
    told = seen(chromium, page.replace("</body>", f"<script>{tell}</script></body>"), 800, tmp_path)
    order = ("sheet.first-job", "sheet.glance", "sheet.watering", "sheet.normal", "sheet.hurts")
    places = [told["text"].index(words.say(each)) for each in order]
    assert places == sorted(places)
    assert words.job.contractor.phone in told["text"]
    assert told["needs"] <= told["wide"]
