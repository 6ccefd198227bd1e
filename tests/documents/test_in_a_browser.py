"""The care page in a real browser: what axe-core finds against it, and whether it fits a phone.

It needs Chromium, and axe-core through npm; without them these tests are skipped, loudly.
"""

from __future__ import annotations

import json
import os
import re
import select
import shutil
import subprocess
import sys
from base64 import b64decode
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest

from handover.documents.joined_slabs import ProjectSlabs
from handover.documents.pages import care_page_html, render_joined_page
from handover.documents.templating import languages
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

AXE = Path(__file__).parents[1] / "node" / "node_modules" / "axe-core" / "axe.min.js"
PHONE, DESKTOP = 390, 1280
LIMIT_S = 600.0
"""How long the browser may take for any one answer: the machine may be busy."""

# WCAG 2.2 to level AA, and what axe calls best practice.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN_AXE = """
axe.run(document, {runOnly: %s}).then(found => ({
  violations: found.violations.map(each => [each.id, each.help, each.nodes.map(node => node.html)]),
  passes: found.passes.map(each => each.id),
  wide: window.innerWidth,
  needs: document.documentElement.scrollWidth,
}))
"""


@pytest.fixture(scope="session")
def axe() -> str:
    """Return axe-core, from where `.ci/environment --tests` puts what Node brings."""
    if not AXE.is_file():
        pytest.skip(
            "NOT CHECKED for people who cannot see well: axe-core is not here (make test-environment)"
        )
    return AXE.read_text(encoding="utf-8")


AT_FILES_3_AND_4 = """
import os, sys
from fcntl import F_DUPFD, fcntl
reading, writing = (fcntl(int(each), F_DUPFD, 10) for each in sys.argv[1:3])
os.dup2(reading, 3)
os.dup2(writing, 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


class Browser:
    """A Chromium of our own, asked by the pipe of its debugging protocol: started once, a tab for each page.

    Source: Chrome DevTools Protocol, https://chromedevtools.github.io/devtools-protocol/. A message is a JSON
    object with a null byte after it; the browser reads them from its file 3 and writes them to its file 4.
    """

    def __init__(self, program: str, folder: Path) -> None:
        theirs_in, self._to = os.pipe()
        self._from, theirs_out = os.pipe()
        options = ["--headless", "--disable-gpu", "--remote-debugging-pipe", "--hide-scrollbars"]
        options += ["--no-sandbox"] if os.geteuid() == 0 else []
        options += [f"--user-data-dir={folder}", "about:blank"]
        self._said = (folder / "said").open("wb")
        self._process = subprocess.Popen(
            [sys.executable, "-c", AT_FILES_3_AND_4, str(theirs_in), str(theirs_out), program, *options],
            pass_fds=(theirs_in, theirs_out),
            stdout=subprocess.DEVNULL,
            stderr=self._said,
        )
        os.close(theirs_in)
        os.close(theirs_out)
        self._read = b""
        self._events: list[dict[str, Any]] = []
        self._asked = 0

    def close(self) -> None:
        """End the browser, and wait until it has ended."""
        self._process.kill()
        self._process.wait()
        os.close(self._to)
        os.close(self._from)
        self._said.close()

    def ask(self, method: str, session: str | None = None, **parameters: Any) -> dict[str, Any]:
        """Return the answer to one question."""
        self._asked += 1
        number = self._asked
        message = {"id": number, "method": method, "params": parameters}
        data = json.dumps(message | ({"sessionId": session} if session else {})).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data) :]
        while (printed := self._next()).get("id") != number:
            self._events.append(printed)
        assert "error" not in printed, printed
        return dict(printed["result"])

    def wait_until_loaded(self, loader: str) -> None:
        """Wait until all of a page is there; the loader is what Page.navigate answered."""
        wanted = {"name": "load", "loaderId": loader}
        while not any(wanted.items() <= printed.get("params", {}).items() for printed in self._events):
            self._events.append(self._next())

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._read:
            ready, _, _ = select.select([self._from], [], [], LIMIT_S)
            assert ready, "the browser says nothing"
            read = os.read(self._from, 1 << 16)
            assert read, f"the browser ended: {Path(self._said.name).read_text(errors='replace')[-500:]}"
            self._read += read
        printed, _, self._read = self._read.partition(b"\0")
        return dict(json.loads(printed))

    @contextmanager
    def tab(self, file: Path, width: int) -> Iterator[str]:
        """Open a page in a window of a width; give the session to ask it by."""
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        self.ask("Emulation.setDeviceMetricsOverride", session, **size)
        self.ask("Page.enable", session)
        self.ask("Page.setLifecycleEventsEnabled", session, enabled=True)
        self.wait_until_loaded(self.ask("Page.navigate", session, url=file.as_uri())["loaderId"])
        yield session
        self._events.clear()
        self.ask("Target.closeTarget", targetId=target)


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if not found:
        pytest.skip("NOT CHECKED in a browser: Chromium is not here (apt-get install chromium)")
    browser = Browser(found, tmp_path_factory.mktemp("chromium"))
    yield browser
    browser.close()


def seen(chromium: Browser, page: str, width: int, folder: Path, script: str) -> dict[str, Any]:
    """Open a page in a window of a width and return what a script, run in it, comes to."""
    file = folder / "page.html"
    file.write_text(page, encoding="utf-8")
    with chromium.tab(file, width) as session:
        printed = chromium.ask(
            "Runtime.evaluate", session, expression=script, awaitPromise=True, returnByValue=True
        )
    assert "exceptionDetails" not in printed, printed
    return dict(printed["result"]["value"])


def lit(page: str, *, dark: bool) -> str:
    """Return a page as it looks in the light or in the dark, without its policy, which forbids scripts."""
    page, policies = re.subn(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    page, schemes = re.subn(
        r"@media \(prefers-color-scheme: dark\)", f"@media {'' if dark else 'not '}all", page
    )
    assert (policies, schemes) == (1, 1)
    return page


def with_axe(axe: str) -> str:
    """Return the script that comes to what axe finds."""
    return f"{axe};{RUN_AXE % json.dumps(TAGS)}"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desktop"])
@pytest.mark.parametrize("language", languages())
def test_axe_finds_nothing(
    language: str,
    width: int,
    dark: bool,
    axe: str,
    chromium: Browser,
    module_inputs: tuple[JobRecord, CureSchedule],
    tmp_path: Path,
) -> None:
    page = care_page_html(Wording(*module_inputs, language=language))
    printed = seen(chromium, lit(page, dark=dark), width, tmp_path, with_axe(axe))
    assert printed["violations"] == []
    assert {"color-contrast", "image-alt", "th-has-data-cells", "html-has-lang"} & set(printed["passes"])
    assert printed["wide"] == width
    assert printed["needs"] <= width, "the page is wider than the window"


@pytest.fixture
def joined_page(module_inputs: tuple[JobRecord, CureSchedule]) -> Callable[[str], str]:
    """Give the page of two slabs of one project, of which one is placed some days later."""
    job, schedule = module_inputs
    slab = job.slab.model_copy(update={"use": "driveway" if job.slab.use != "driveway" else "patio"})
    other = job.model_copy(update={"id": f"{job.id}-2", "slab": slab})
    dates = tuple(
        replace(each, not_before=each.not_before + timedelta(days=2)) if each.not_before else each
        for each in schedule.milestones
    )

    def page(language: str) -> str:
        words = [
            Wording(job, schedule, language=language),
            Wording(other, replace(schedule, milestones=dates), language=language),
        ]
        return render_joined_page(ProjectSlabs(words, [{}, {}]), b"BEGIN:VCALENDAR").decode()

    return page


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desktop"])
@pytest.mark.parametrize("language", languages())
def test_axe_finds_nothing_on_the_page_of_several_slabs(
    language: str,
    width: int,
    dark: bool,
    axe: str,
    chromium: Browser,
    joined_page: Callable[[str], str],
    tmp_path: Path,
) -> None:
    printed = seen(chromium, lit(joined_page(language), dark=dark), width, tmp_path, with_axe(axe))
    assert printed["violations"] == []
    assert printed["needs"] <= width, "the page is wider than the window"


def test_axe_would_find_a_fault(
    axe: str, chromium: Browser, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    page = care_page_html(Wording(*module_inputs)).replace("--soft:#4c5a61", "--soft:#b4bec2")
    printed = seen(chromium, lit(page, dark=False), PHONE, tmp_path, with_axe(axe))
    assert "color-contrast" in {each[0] for each in printed["violations"]}


LOOK_AT_THE_FOLDS = """({
  folded: [...document.querySelectorAll("details:not([open]) summary h2")].map(each => each.innerText),
  open: [...document.querySelectorAll("section > h2")].map(each => each.innerText),
  first: document.querySelector("details")?.getBoundingClientRect().top,
})"""
SCREEN = 844
"""Height of a common phone, in the unit of the page."""


def test_a_phone_has_the_days_first_and_folds_what_is_not_of_today(
    chromium: Browser, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    """Four screens at most before the first fold; what may hurt people is never folded away."""
    words = Wording(*module_inputs)
    seen_there = partial(seen, chromium, care_page_html(words), folder=tmp_path, script=LOOK_AT_THE_FOLDS)
    phone, desktop = seen_there(width=PHONE), seen_there(width=DESKTOP)
    assert {words.say(each) for each in ("sheet.how", "sheet.stays-off", "sheet.limits")} <= {
        *phone["folded"]
    }
    assert {words.say(each) for each in ("sheet.hurts", "sheet.call-when", "sheet.watering")} <= {
        *phone["open"]
    }
    assert phone["first"] <= 4 * SCREEN
    assert desktop["folded"] == []


@pytest.mark.parametrize(
    ("now", "marked"),
    [("2026-07-17T03:30:00Z", "16"), ("2026-07-18T12:00:00Z", "18"), ("2026-10-01T12:00Z", None)],
)
def test_today_is_marked_by_the_calendar_of_the_site(
    now: str,
    marked: str | None,
    chromium: Browser,
    module_inputs: tuple[JobRecord, CureSchedule],
    tmp_path: Path,
) -> None:
    """At half past three in London it is still the evening before in North Carolina."""
    clock = (
        "Date = class extends Date { constructor(...given) { super(...(given.length ? given : [NOW])) } };"
    )
    page = re.sub(
        r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", care_page_html(Wording(*module_inputs))
    )
    page = page.replace("<script>", f"<script>const NOW = '{now}'; {clock}", 1)
    look = """({
      rows: [...document.querySelectorAll("tr.is-today")].map(row => [row.dataset.from, row.dataset.until]),
    })"""
    found = seen(chromium, page, PHONE, tmp_path, look)["rows"]
    if marked is None:
        assert found == []
    else:
        ((first, last),) = found
        assert first <= f"2026-07-{marked}" <= last


def test_the_page_prints_like_a_sheet(
    chromium: Browser, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    """A week of watering is a table on paper, and nothing is spread thin: the sheet itself has four pages."""
    page, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text(care_page_html(Wording(*module_inputs)), encoding="utf-8")
    with chromium.tab(page, DESKTOP) as session:
        answer = chromium.ask("Page.printToPDF", session, preferCSSPageSize=True, printBackground=True)
    printed.write_bytes(b64decode(answer["data"]))
    with pikepdf.open(printed) as pdf:
        assert len(pdf.pages) <= 5
    result = subprocess.run(
        ["pdftotext", "-layout", printed, "-"], capture_output=True, text=True, check=True
    )
    lines = map(str.strip, result.stdout.splitlines())
    (row,) = (line for line in lines if line.startswith("Wednesday, July 15") and " to " in line)
    assert "6:30 to 7:30 am" in row
    assert "12:00 to 1:00 pm" in row


def test_the_page_reads_without_styles(
    chromium: Browser, module_inputs: tuple[JobRecord, CureSchedule], tmp_path: Path
) -> None:
    words = Wording(*module_inputs)
    page = re.sub(r"<style.*?</style>| style=\"[^\"]*\"", "", care_page_html(words), flags=re.DOTALL)
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    tell = """({
      text: document.body.innerText, wide: innerWidth, needs: document.documentElement.scrollWidth,
    })"""
    printed = seen(chromium, page, 800, tmp_path, tell)
    order = ("sheet.first-job", "sheet.glance", "sheet.watering", "sheet.normal", "sheet.hurts")
    places = [printed["text"].index(words.say(each)) for each in order]
    assert places == sorted(places)
    assert words.job.contractor.phone in printed["text"]
    assert printed["needs"] <= printed["wide"]
