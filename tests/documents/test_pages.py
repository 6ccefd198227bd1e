"""The care sheet, the care page and the data sheet, read back as their readers' programs read them."""

from __future__ import annotations

import io
import logging
import re
import subprocess
from base64 import b64decode, b64encode
from collections.abc import Callable
from functools import lru_cache
from hashlib import sha256
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import pikepdf
import pytest
from PIL import Image

from handover.documents.fonts import replace_missing_glyphs
from handover.documents.pages import (
    care_page_html,
    care_sheet_html,
    data_sheet_html,
    sheet_pdf,
)
from handover.documents.pdf import render_pdf
from handover.documents.pictures import picture_uri
from handover.documents.wording import Wording
from handover.errors import RenderingFailed, UnusableInput
from handover.schedule.model import Caution, MilestoneKind, Refusal

if TYPE_CHECKING:
    from pathlib import Path

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

pytestmark = pytest.mark.usefixtures("shared_pdf")

JobWith = Callable[..., "JobRecord"]
ScheduleWith = Callable[..., "CureSchedule"]
SAFETY = tuple(
    Caution(code) for code in ("caustic", "silica", "slips", "electricity", "nails", "children-animals")
)
# The crew's own visits are covered by their dates; frost only where it may come.
UNTOLD = {MilestoneKind.FROST_SAFE, MilestoneKind.SAW_JOINTS, MilestoneKind.STRIP_EDGE_FORMS}
MARKUP = "<b>Bold & \"sons\"</b> 'Inc' <script>alert(1)</script>"


@lru_cache(maxsize=16)
def text_of(pdf: bytes, *options: str) -> str:
    ran = subprocess.run(["pdftotext", *options, "-", "-"], input=pdf, capture_output=True, check=True)
    return ran.stdout.decode()


def words(text: str) -> str:
    return " ".join(text.split())


def pages_of(pdf: bytes) -> list[str]:
    return text_of(pdf, "-layout").rstrip("\f").split("\f")


def picture(width: int, height: int, kind: str = "PNG", **extra: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), "#884422").save(out, kind, **extra)
    return out.getvalue()


@pytest.fixture(scope="module")
def sheet(module_inputs: tuple[JobRecord, CureSchedule], render_once: Callable[..., bytes]) -> bytes:
    return render_once(care_sheet_html(Wording(*module_inputs)))


@pytest.fixture(scope="module")
def office(module_inputs: tuple[JobRecord, CureSchedule], render_once: Callable[..., bytes]) -> bytes:
    return render_once(data_sheet_html(Wording(*module_inputs)))


# ---- what the first pages answer


def test_the_first_page_says_what_may_happen_when(sheet: bytes) -> None:
    first = words(text_of(sheet, "-l", "1"))
    for said in (
        "Start watering",
        "Not before 2:00 in the afternoon, Tuesday, July 14",
        "336-555-0117",
        "Walk on it",
        "Wednesday, July 15",
        "9:30 in the morning",
        "Park a car on it",
        "Wednesday, July 22",
    ):
        assert said in first


def test_the_second_page_is_the_watering_table(sheet: bytes) -> None:
    second = words(pages_of(sheet)[1])
    assert "Wednesday, July 15 6:30 to 7:30 am 12:00 to 1:00 pm 5:00 to 6:00 pm" in second
    assert "No watering: rain should do it" in second
    assert "If it turns pale, water at once." in words(text_of(sheet, "-f", "2", "-l", "2"))  # in two columns


def test_the_sheet_of_a_simple_summer_slab_has_three_pages_at_most(sheet: bytes) -> None:
    assert len(pages_of(sheet)) <= 3


@pytest.mark.parametrize(
    "said",
    [
        "This is normal",
        "Call us if you see this",
        "Wet concrete burns skin and eyes",
        "Local building codes, the drawings and a licensed engineer come first",
        "Even with good care the surface may crack",
        "No forecast reaches past",
        "Door line checked with a straightedge",
        "34 ft by 26 ft",
        "118 Alder Lane",
    ],
)
def test_the_sheet_says(said: str, sheet: bytes) -> None:
    assert said in words(text_of(sheet))


def test_page_and_sheet_say_the_same(module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    """Every sentence of a date, a visit and a caution is in both, letter for letter."""
    wording = Wording(*module_inputs)
    both = [Reader.of(make(Wording(*module_inputs))) for make in (care_sheet_html, care_page_html)]
    said = [each.sentence for each in wording.owner_milestones if each.kind not in UNTOLD]
    said += [visit.short_span for day in wording.watering for visit in day.visits]
    said += [notice.text for notice in wording.cautions] + list(wording.limits)
    assert [each for text in both for each in said if each not in text] == []


# ---- the PDF as a file


def test_pdf_is_tagged_titled_and_in_its_language(sheet: bytes) -> None:
    with pikepdf.open(io.BytesIO(sheet)) as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang) == "en"
        assert pdf.docinfo.Title == "Care sheet: Alder Lane garage"
        assert pdf.docinfo.Author == "Three Rivers Flatwork"
        assert str(pdf.docinfo.CreationDate).startswith("D:20260714")
        assert len(pdf.Root.Outlines.First.keys()) > 0
        kinds = {str(each.S) for each in structure(pdf)}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/Figure"} <= kinds


def test_every_figure_has_words(sheet: bytes) -> None:
    with pikepdf.open(io.BytesIO(sheet)) as pdf:
        figures = [each for each in structure(pdf) if each.S == "/Figure"]
        assert len(figures) == 4  # time line, code, weather, strength
        assert all(str(each.get("/Alt", "")) for each in figures)


def structure(pdf: pikepdf.Pdf) -> list[Any]:
    found, waiting = [], [pdf.Root.StructTreeRoot]
    while waiting:
        node = waiting.pop()
        children = node.get("/K", [])
        for child in children if isinstance(children, pikepdf.Array) else [children]:
            if isinstance(child, pikepdf.Dictionary) and "/S" in child:
                found.append(child)
                waiting.append(child)
    return found


@pytest.mark.parametrize("which", ["sheet", "office"])
def test_fonts_are_ours_and_embedded(which: str, request: pytest.FixtureRequest) -> None:
    with pikepdf.open(io.BytesIO(request.getfixturevalue(which))) as pdf:
        fonts = [
            each
            for each in pdf.objects
            if isinstance(each, pikepdf.Dictionary) and each.get("/Type") == "/FontDescriptor"
        ]
        assert {str(each.FontName).split("+")[-1] for each in fonts} == {
            "Atkinson-Hyperlegible",
            "Atkinson-Hyperlegible-Bold",
        }
        assert all("/FontFile2" in each for each in fonts)


@pytest.mark.parametrize(("paper", "size"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_paper(paper: Any, size: tuple[int, int], module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    with pikepdf.open(io.BytesIO(sheet_pdf(care_sheet_html(Wording(*module_inputs), paper=paper)))) as pdf:
        box = [float(each) for each in pdf.pages[0].mediabox]
    assert (round(box[2]), round(box[3])) == size


# ---- text from outside is text


@pytest.mark.parametrize("make", [care_sheet_html, care_page_html, data_sheet_html])
def test_markup_from_outside_stays_text(
    make: Callable[..., str], job_with: JobWith, schedule: CureSchedule
) -> None:
    job = job_with(
        site={"name": MARKUP, "address": MARKUP, "timezone": "America/New_York"},
        owner={"name": MARKUP},
        contractor={"name": MARKUP, "phone": MARKUP, "license": MARKUP},
        walkthrough=({"item": MARKUP, "ok": False, "note": MARKUP},),
    )
    html = make(Wording(job, schedule))
    assert "<b>" not in html
    assert html.count("<script") == (make is care_page_html), "the page has one of its own"
    assert MARKUP in Reader.of(html)


def test_a_phone_number_dials_only_digits(job_with: JobWith, schedule: CureSchedule) -> None:
    job = job_with(contractor={"phone": '+1 336-555-0117"><script>'})
    assert 'href="tel:+13365550117"' in care_page_html(Wording(job, schedule))


class Reader(HTMLParser):
    """Reads a page as a person does: its text, without scripts and styles, and what it loads."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[str] = []
        self.loads: list[str] = []
        self.tags: set[str] = set()
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.hidden += tag in {"style", "script"}
        self.loads += [
            value for name, value in attrs if name in {"src", "href", "srcset", "action"} and value
        ]

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in {"style", "script"}

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.heard.append(data)

    @classmethod
    def of(cls, html: str) -> str:
        reader = cls()
        reader.feed(html)
        return words(" ".join(reader.heard))


def test_the_page_runs_its_own_script_alone(module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    """Its policy allows it by its hash: ticks stay in the browser, and nothing leaves it."""
    html = care_page_html(Wording(*module_inputs))
    [script] = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    digest = b64encode(sha256(script.encode()).digest()).decode()
    assert "default-src 'none'" in html
    assert f"script-src 'sha256-{digest}'" in html
    assert "unsafe-inline'; script-src" in html
    names = re.findall(r'<input type="checkbox" class="box" name="([^"]+)"', html)
    assert names
    assert len(set(names)) == len(names)


def test_the_page_asks_for_nothing(module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    html = care_page_html(Wording(*module_inputs))
    reader = Reader()
    reader.feed(html)
    assert {each.split(":")[0].split("#")[0] for each in reader.loads} <= {"data", "tel", ""}
    assert not reader.tags & {"link", "iframe", "object", "embed", "form"}
    assert set(re.findall(r"url\(\s*[\"']?([a-z]+):", html)) == {"data"}
    assert "@import" not in html


# ---- the engine


@pytest.mark.parametrize(
    "address",
    ["file:///etc/passwd", "http://127.0.0.1:9/x.png", "https://example.com/x.png", "ftp://example.com/x"],
)
@pytest.mark.parametrize(
    "way",
    ['<img alt="x" src="{}">', '<p style="background:url({})">x</p>', '<link rel="stylesheet" href="{}">'],
)
def test_the_engine_reads_nothing_from_anywhere(address: str, way: str) -> None:
    with pytest.raises(RenderingFailed, match="disallowed protocol"):
        render_pdf(f'<html lang="en"><title>x</title><body>{way.format(address)}</body></html>')


def test_a_relative_address_is_refused_too() -> None:
    with pytest.raises(RenderingFailed):
        render_pdf('<html lang="en"><title>x</title><img alt="x" src="x.png"></html>')


@pytest.mark.parametrize(
    "fault",
    [
        "<style>p { colour: red }</style>",
        "<style>p { width: 3 apples }</style>",
        '<img src="data:image/png;base64,AAAA" alt="x">',
    ],
)
def test_a_warning_of_the_engine_fails_the_run(fault: str) -> None:
    with pytest.raises(RenderingFailed, match=r"\w"):
        render_pdf(f'<html lang="en"><head><title>x</title></head><body>{fault}<p>x</p></body></html>')


def test_a_warning_is_heard_though_the_engine_s_log_is_disabled(monkeypatch: pytest.MonkeyPatch) -> None:
    """As `logging.config` does with every log that it does not name."""
    log = logging.getLogger("weasyprint")
    monkeypatch.setattr(log, "disabled", True)
    with pytest.raises(RenderingFailed, match="colour"):
        render_pdf('<html lang="en"><title>x</title><style>p { colour: red }</style><p>x</p></html>')
    assert log.disabled


def test_a_document_without_language_fails() -> None:
    with pytest.raises(RenderingFailed, match="lang"):
        render_pdf("<html><title>x</title><p>x</p></html>")


def test_letters_that_our_font_lacks_become_the_nearest() -> None:
    assert replace_missing_glyphs("Łukasz ① 山田\u200b🙂") == "Łukasz 1 ?? ?"


def test_strange_letters_still_use_our_fonts_only(job_with: JobWith, schedule: CureSchedule) -> None:
    job = job_with(
        owner={"name": "山田 太郎 🙂"}, site={"name": "Дом\u0000 № 5", "timezone": "America/New_York"}
    )
    with pikepdf.open(io.BytesIO(sheet_pdf(care_sheet_html(Wording(job, schedule))))) as pdf:
        names = {
            str(each.BaseFont).split("+")[-1]
            for each in pdf.objects
            if isinstance(each, pikepdf.Dictionary) and each.get("/Type") == "/Font"
        }
    assert names == {"Atkinson-Hyperlegible", "Atkinson-Hyperlegible-Bold"}


# ---- whatever a job brings


LONG = "The Bartholomew Featherstonehaugh-Cholmondeley memorial workshop and boathouse by the lower mill pond"


def test_long_names_long_lists_and_a_huge_logo(job_with: JobWith, schedule: CureSchedule) -> None:
    items = tuple({"item": f"Item {n} {LONG}", "ok": n % 2 == 0, "note": LONG} for n in range(30))
    job = job_with(
        site={"name": LONG, "address": f"{LONG}, {LONG}", "timezone": "America/New_York"},
        contractor={"name": LONG, "phone": "+1 (336) 555-0117 ext. 2044", "logo": "logo.png"},
        walkthrough=items,
    )
    pages = pages_of(
        sheet_pdf(care_sheet_html(Wording(job, schedule), pictures={"logo.png": picture(6000, 900)}))
    )
    text = words(" ".join(pages))
    assert all(f"Item {n} The" in text for n in range(30))
    assert all(len(words(page)) > 200 for page in pages)  # no page is near empty


HEADS = {"What hurts people", "About this slab", "What was placed", "How to do it", "This is normal"}


@pytest.mark.parametrize(
    ("days", "units"), [(0, "us"), (1, "si"), (6, "us"), (9, "si"), (12, "us"), (14, "si"), (28, "us")]
)
def test_short_and_long_cures(days: int, units: Any, job: JobRecord, schedule_with: ScheduleWith) -> None:
    """All that is printed is in the text; where the boxes fall is measured in `test_layout`."""
    schedule = schedule_with(days=days, cautions=SAFETY)
    pages = pages_of(sheet_pdf(care_sheet_html(Wording(job, schedule, units=units))))
    assert all(len(words(page)) > 200 for page in pages)
    for page in pages:
        lines = [line.strip() for line in page.splitlines() if line.strip()]
        assert lines[-2] not in HEADS  # the last line is the foot
    if days:
        last, text = Wording(job, schedule).watering[-1], words(" ".join(pages))
        assert last.day in text or last.short_day in text


@pytest.mark.parametrize(
    "method", ["wet burlap", "plastic sheet", "curing compound", "insulating blanket", "ponding"]
)
def test_every_method_has_its_sheet(method: str, job: JobRecord, schedule_with: ScheduleWith) -> None:
    dry = method in {"curing compound", "insulating blanket"}
    schedule = schedule_with(method=method, **({"watering": ()} if dry else {}))
    if dry:
        kept = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.FIRST_WATER)
        schedule = schedule_with(method=method, watering=(), milestones=kept)
    text = Reader.of(care_page_html(Wording(job, schedule)))
    assert ("There is nothing to water." in text) == dry
    assert "Walk on it" in text


def test_a_bare_record_makes_a_sheet(job_with: JobWith, schedule: CureSchedule) -> None:
    job = job_with(
        contractor={},
        owner={},
        walkthrough=(),
        ticket=(),
        cylinder=(),
        mix={"specified_strength": 20.0, "cementitious": 300.0, "water_cementitious": 0.5},
    )
    assert "Ask the people who placed your slab." in words(
        text_of(sheet_pdf(care_sheet_html(Wording(job, schedule))))
    )
    assert b"%PDF" in sheet_pdf(data_sheet_html(Wording(job, schedule)))


def test_a_date_that_is_not_given_is_refused_in_words(job: JobRecord, schedule_with: ScheduleWith) -> None:
    schedule = schedule_with(refusals=(Refusal("heavy-vehicles", "not-built-for-trucks"),))
    assert "It is not built for trucks" in Reader.of(care_page_html(Wording(job, schedule)))
    assert "It is not built for trucks" in Reader.of(data_sheet_html(Wording(job, schedule)))


def test_a_second_issue_says_that_it_replaces_the_first(job: JobRecord, schedule_with: ScheduleWith) -> None:
    assert "replaces all earlier ones" in Reader.of(care_page_html(Wording(job, schedule_with(revision=2))))
    assert "replaces all earlier ones" not in Reader.of(care_page_html(Wording(job, schedule_with())))


# ---- the office's copy


@pytest.mark.parametrize(
    "said",
    [
        "mix.fly_ash 0.15",
        "mix.cement I *",
        "the most common cement",
        "40117",
        "National Weather Service, grid forecast",
        "7 hours 18 minutes old",
        "Wind brought from 10 m to 0.5 m by a log profile.",
        "common practice, no source",
        "a standard named here",
        "Governed by",
        "Next to govern",
        "in the field",
    ],
)
def test_the_data_sheet_says(said: str, office: bytes, module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    assert said in Reader.of(data_sheet_html(Wording(*module_inputs)))
    assert said.split(maxsplit=1)[0] in text_of(office)


def test_the_history_is_printed_by_the_day(office: bytes) -> None:
    rows = re.findall(
        r"^\s*(\d\d?) +[A-Z][a-z]{2} [A-Z][a-z]{2} \d+, \d+:\d\d [ap]m",
        text_of(office, "-layout"),
        re.MULTILINE,
    )
    assert [int(row) for row in rows] == list(range(1, 29))


# ---- pictures and a contractor's own look


def test_pictures_lose_their_metadata() -> None:
    exif = Image.Exif()
    exif[0x010E] = "taken at 36.1 N"
    exif[0x0112] = 6  # is on its side
    uri = picture_uri(picture(400, 200, "JPEG", exif=exif), "photo.jpg", 100)
    shown = Image.open(io.BytesIO(b64decode(uri.partition(",")[2])))
    assert shown.size == (50, 100)
    assert not shown.getexif()


@pytest.mark.parametrize(
    "content", [b"", b"not a picture", b"<svg xmlns='http://www.w3.org/2000/svg'/>", picture(20, 20)[:30]]
)
def test_what_is_no_picture_is_a_finding(content: bytes) -> None:
    with pytest.raises(UnusableInput, match=r"logo\.png.*cannot be read as a picture"):
        picture_uri(content, "logo.png", 100)


def test_a_contractors_folder_overrides_ours(tmp_path: Path, job: JobRecord, schedule: CureSchedule) -> None:
    (tmp_path / "style").mkdir()
    (tmp_path / "en").mkdir()
    (tmp_path / "style" / "page.css").write_text("body { color: rebeccapurple }", "utf-8")
    (tmp_path / "en" / "normal.md").write_text("- Our own word on **patches**.", "utf-8")
    html = care_page_html(Wording(job, schedule, templates=tmp_path))
    assert "rebeccapurple" in html
    assert "Our own word on <strong>patches</strong>." in html
    assert "Call us if you see this" in html
