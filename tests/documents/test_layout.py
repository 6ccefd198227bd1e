"""Where the boxes of a care sheet fall, whatever a job brings: measured in the engine's own boxes.

No row is split over two pages, no heading is without its text, no last page is near empty, and
nothing runs off the paper.
"""

from __future__ import annotations

import io
import re
import subprocess
from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest
from PIL import Image

from handover.documents.joined_slabs import ProjectSlabs
from handover.documents.pages import care_sheet_html, joined_sheet_html
from handover.documents.pdf import FIRST_PAGE_ENDS, _front_class, _layout
from handover.documents.wording import Wording
from handover.schedule.model import Change, MilestoneKind

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from handover.documents.pages import Paper
    from handover.documents.quantity_format import Units
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LONG = "The Bartholomew Featherstonehaugh-Cholmondeley memorial workshop and boathouse by the lower mill pond"
READERS: tuple[tuple[str, Paper, Units], ...] = (
    ("en", "letter", "us"),
    ("es", "a4", "si"),
    ("es", "letter", "us"),
)


def picture(width: int, height: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), "#884422").save(out, "PNG")
    return out.getvalue()


LONG_NAMES: dict[str, Any] = {
    "site": {"name": LONG, "address": f"{LONG}, {LONG}", "timezone": "America/New_York"},
    "owner": {"name": LONG},
    "contractor": {"name": LONG, "phone": "+1 (336) 555-0117 ext. 2044", "license": LONG[:60]},
}
LIST_OF_30: dict[str, Any] = {
    "walkthrough": tuple({"item": f"Item {n}, {LONG}", "ok": n % 2 == 0, "note": LONG} for n in range(30))
}
FIRM = {"name": "Three Rivers Flatwork", "phone": "336-555-0117"}
JOBS: dict[str, dict[str, Any]] = {
    "plain": {},
    "long names": LONG_NAMES,
    "thirty items": LIST_OF_30,
    "huge logo": {"contractor": {**FIRM, "logo": "logo.png"}},
    "tall logo": {"contractor": {**FIRM, "logo": "tall.png"}},
    "photos": {
        "walkthrough": tuple(
            {"item": f"Item {n}", "ok": False, "note": "We mend it.", "photo": photo}
            for n, photo in enumerate(("logo.png", "tall.png", "logo.png", "tall.png"))
        )
    },
    "empty record": {"contractor": {}, "owner": {}, "walkthrough": ()},
}
LOGOS = {"logo.png": picture(6000, 900), "tall.png": picture(300, 4000)}
CASES = [*((name, 7) for name in JOBS), *(("plain", days) for days in (0, 1, 14, 28))]


class Box(NamedTuple):
    """A box on a page, in CSS pixels from its upper left corner."""

    page: int
    tag: str
    element: Any
    left: float
    top: float
    right: float
    bottom: float


def boxes_of(html: str) -> tuple[list[Box], list[tuple[float, float]]]:
    """Return the boxes of a document in its flow, page by page, and the size of each page."""
    document = _layout(html)
    found: list[Box] = []

    def walk(box: Any, page: int) -> None:
        if type(box).__name__ == "MarginBox":
            return  # the foot of the page is no part of the flow
        element = box.element
        if element is not None and box.element_tag == element.tag and hasattr(box, "width"):
            left, top = box.border_box_x(), box.border_box_y()
            place = (left, top, left + box.border_width(), top + box.border_height())
            found.append(Box(page, element.tag, element, *place))
        for child in getattr(box, "children", ()):
            walk(getattr(child, "_box", child), page)

    for number, page in enumerate(document.pages):
        walk(page._page_box, number)
    return found, [(page.width, page.height) for page in document.pages]


@pytest.fixture(params=READERS, ids=lambda reader: "-".join(reader[:2]))
def reader(request: pytest.FixtureRequest) -> tuple[str, Paper, Units]:
    return request.param  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("name", "days", "reader"),
    [
        pytest.param(name, days, reader, id="-".join((name, str(days), *reader[:2])))
        for number, (name, days) in enumerate(CASES)
        # The longest text on the shortest paper; for every third one other.
        for reader in (READERS[2], *(READERS[number % 2 : number % 2 + 1] if number % 3 == 1 else ()))
    ],
)
def test_nothing_breaks_badly(
    name: str,
    days: int,
    reader: tuple[str, Paper, Units],
    job_with: Callable[..., JobRecord],
    schedule_with: Callable[..., CureSchedule],
) -> None:
    language, paper, units = reader
    html = care_sheet_html(
        Wording(job_with(**JOBS[name]), schedule_with(days=days), language=language, units=units),
        paper=paper,
        pictures=LOGOS,
    )
    boxes, sizes = boxes_of(html)
    assert list(faults(boxes, sizes)) == []


USES = ("garage floor", "driveway", "walk", "patio", "house slab")


@pytest.mark.parametrize(
    ("name", "slabs", "reader"),
    [
        pytest.param(name, slabs, reader, id="-".join((name, str(slabs), *reader[:2])))
        for name, slabs, reader in (
            ("plain", 2, READERS[0]),
            ("plain", 3, READERS[2]),
            ("long names", 2, READERS[2]),
            ("long names", 4, READERS[1]),
            ("photos", 2, READERS[1]),
            ("empty record", 5, READERS[2]),
        )
    ],
)
def test_nothing_breaks_badly_on_the_sheet_of_several_slabs(
    name: str,
    slabs: int,
    reader: tuple[str, Paper, Units],
    job_with: Callable[..., JobRecord],
    schedule_with: Callable[..., CureSchedule],
) -> None:
    language, paper, units = reader
    job = job_with(**JOBS[name])
    wordings = [
        Wording(
            job.model_copy(update={"slab": job.slab.model_copy(update={"use": use})}),
            schedule_with(days=7 + number),
            language=language,
            units=units,
        )
        for number, use in enumerate(USES[:slabs])
    ]
    html = joined_sheet_html(ProjectSlabs(wordings, [LOGOS] * slabs), paper=paper)
    boxes, sizes = boxes_of(html)
    assert list(faults(boxes, sizes)) == []


FOOT_PT = 37.0
"""Height of the foot of a page, with its name and number."""


def fills(pdf: bytes) -> list[float]:
    """Return down to which share of its height each page has text above its foot."""
    command = ["pdftotext", "-bbox", "-", "-"]
    text = subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode()
    found = []
    for page in text.split("<page ")[1:]:
        height = float(re.findall(r'height="([\d.]+)"', page)[0]) - FOOT_PT
        bottoms = (float(each) for each in re.findall(r'yMax="([\d.]+)"', page))
        found.append(max((each / height for each in bottoms if each <= height), default=0.0))
    return found


@pytest.mark.parametrize("edition", ["en-letter", "es-letter", "es-a4"])
@pytest.mark.parametrize("sample", ["summer-garage", "november-shop", "driveway-compound"])
def test_a_sample_has_three_pages_and_none_half_empty(
    sample: str, edition: str, sample_sheet: Callable[[str, str, str], bytes]
) -> None:
    """The last one may be."""
    filled = fills(sample_sheet("care", sample, edition))
    assert len(filled) <= 3
    assert min(filled[:-1]) >= 0.5


def test_a_long_list_of_changes_leaves_the_first_page_whole(
    reader: tuple[str, Paper, Units], job: JobRecord, schedule: CureSchedule
) -> None:
    """Eight dates moved in a cold week: dates, footnote, crew and code stay on page 1."""
    language, paper, units = reader
    moved = tuple(
        Change(each.kind, (each.not_before,), (each.not_before + timedelta(days=3),), ("cylinder", "cooler"))
        for each in schedule.milestones
        if each.not_before and each.kind not in {MilestoneKind.INITIAL_SET, MilestoneKind.FINAL_SET}
    )
    assert len(moved) > 8
    again = replace(schedule, revision=2, changes=moved)
    html = care_sheet_html(Wording(job, again, language=language, units=units), paper=paper)
    boxes, _ = boxes_of(html)
    for name in ("changes", "dates", "last"):
        pages = {each.page for each in boxes if name in (each.element.get("class") or "").split()}
        assert pages == {0}, name


@pytest.mark.parametrize(("part", "name", "holds"), [(1, "how", "figure"), (2, "hurts", "ul")])
def test_what_may_hurt_people_stands_whole_under_its_heading(
    part: int, name: str, holds: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: one danger alone at the top of the last page, and a chart there, each without its heading.

    One document has the part of the sheet at each height.
    """
    codes = ("caustic", "children-animals", "slips", "electricity", "silica", "nails", "heaters")
    cautions = tuple(replace(schedule.cautions[0], code=each, figures=()) for each in codes)
    words = Wording(job, replace(schedule, cautions=cautions))
    before, *parts = care_sheet_html(words).split('<section class="onward">')
    at_heights = "".join(
        f'<section class="onward" style="break-before: page; padding-top: {height}mm">{parts[part - 1]}'
        for height in range(130, 210, 10)
    )
    boxes, _ = boxes_of(f"{before.partition('<body')[0]}<body>{at_heights}</body></html>")
    pages: dict[Any, set[int]] = defaultdict(set)
    for each in boxes:
        if each.tag == "section" and each.element.find("h2") is not None:
            pages[each.element].add(each.page)
    heading = words.say(f"sheet.{name}")
    found = [each for each in pages if each.find("h2").text == heading and each.find(holds) is not None]
    assert len(found) == 8
    assert all(len(pages[each]) == 1 for each in found)


@pytest.mark.parametrize("days", [7, 15, 28])
def test_the_heading_of_the_table_stays_with_its_first_day(
    days: int, job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    """However far down its page the heading is: one document has its section at each height.

    The section begins the second page; what is before it and on later pages is left out.
    """
    html = care_sheet_html(Wording(job, schedule_with(days=days)))
    before, _, rest = html.partition('<section class="onward">')
    section, _, _ = rest.partition('<section class="onward')
    assert 'class="watering"' in section
    head = before.partition("<body")[0]
    at_heights = "".join(
        f'<section class="onward" style="break-before: page; padding-top: {lines * 4}mm">{section}'
        for lines in range(0, 60, 12)
    )
    boxes, _ = boxes_of(f"{head}<body>{at_heights}</body></html>")
    pages = {each.element: each.page for each in reversed(boxes)}  # the first page of each
    sections = [
        each for each in pages if each.tag == "section" and each.find("table[@class='watering']") is not None
    ]
    assert len(sections) == 5
    for each in sections:
        assert pages[each.find("h2")] == pages[each.find("table/tbody")[0]]


def faults(boxes: list[Box], sizes: list[tuple[float, float]]) -> Iterator[str]:
    """Give what falls badly, in words."""
    yield from split_rows(boxes)
    yield from lonely_headings(boxes)
    yield from off_the_paper(boxes, sizes)
    for page, (_, height) in enumerate(sizes):
        filled = max(
            (each.bottom for each in boxes if each.page == page and each.tag in CONTENT), default=0.0
        )
        # A quarter of the paper: common practice, no source. On the last page what is signed may stand alone.
        if filled < (0.25 if page < len(sizes) - 1 else 0.15) * height:
            yield f"page {page + 1} ends at {filled:.0f} of {height:.0f}"


CONTENT = {"p", "li", "td", "th", "h1", "h2", "h3", "img", "span", "{http://www.w3.org/2000/svg}svg"}


def split_rows(boxes: list[Box]) -> Iterator[str]:
    repeated = {"thead", "tfoot"}  # stand on each page of their table
    heads = {row for each in boxes if each.tag in repeated for row in each.element}
    pages: dict[Any, set[int]] = defaultdict(set)
    for each in boxes:
        if each.tag == "tr" and each.element not in heads:
            pages[each.element].add(each.page)
    for element, on in pages.items():
        if len(on) > 1:
            yield f"{element.tag} on pages {sorted(on)}: {''.join(element.itertext())[:40]}"


def lonely_headings(boxes: list[Box]) -> Iterator[str]:
    """Yield headings at the end of their page."""
    for each in boxes:
        if each.tag not in {"h1", "h2", "h3"}:
            continue
        below = [
            other
            for other in boxes
            if other.page == each.page
            and other.tag in CONTENT - {"h1", "h2", "h3"}
            and other.top >= each.bottom - 1
        ]
        if not below:
            yield f"heading alone on page {each.page + 1}: {''.join(each.element.itertext())[:40]}"


def off_the_paper(boxes: list[Box], sizes: list[tuple[float, float]]) -> Iterator[str]:
    for each in boxes:
        width, height = sizes[each.page]
        if each.tag in CONTENT and not (
            each.left >= -1 and each.right <= width + 1 and each.top >= -1 and each.bottom <= height + 1
        ):
            yield f"{each.tag} leaves page {each.page + 1}: {''.join(each.element.itertext())[:40]}"


BAD = """<html lang="en"><title>x</title><style>@page {{ size: 400px 400px; margin: 20px }}
h2, p {{ margin: 0; font: 20px/20px serif }} td {{ height: 200px }}</style><body>{}</body></html>"""


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (
            '<p style="height:340px">x</p><h2>Alone</h2><p style="break-before:page;height:200px">y</p>',
            "alone",
        ),
        (
            '<p style="height:300px">x</p><table><tr><td>' + "<p>row</p>" * 30 + "</td></tr></table>",
            "tr on pages",
        ),
        ('<p style="width:500px;height:300px">x</p>', "leaves page"),
        ('<p style="height:350px">x</p><p style="height:30px">y</p>', "page 2 ends"),
    ],
)
def test_what_breaks_badly_is_seen(body: str, word: str) -> None:
    problems = " ".join(faults(*boxes_of(BAD.format(body))))
    assert word in problems


@pytest.mark.parametrize(
    ("wanted", "lines", "height", "pages"),
    [(2, 12, 5, 2), (1, 12, 5, 1), (1, 40, 9.9, 4)],
    ids=["fits", "less space saves a page", "it saves none"],
)
def test_a_document_with_more_pages_than_it_wants_is_laid_out_with_less_space(
    wanted: int, lines: int, height: float, pages: int
) -> None:
    """Ten lines of 10 mm are a page of 100 mm."""
    style = (
        "@page { size: 100mm 120mm; margin: 10mm } html, body { margin: 0 } p { margin: 0; height: 10mm }"
        f".tight p {{ height: {height}mm }} .tight {{ background: red }}"
    )
    text = "<p>line</p>" * lines
    html = f'<html><style>{style}</style><body class="" data-pages="{wanted}">{text}</body></html>'
    assert len(_layout(html).pages) == pages


@pytest.mark.parametrize(
    ("lines", "name", "pages"),
    [
        (9, "", 2),
        (12, "dense", 2),
        (18, "dense full", 2),
        (24, "dense full plain-front", 2),
        (30, "dense full", 3),
    ],
    ids=["fits", "less space", "the least space", "without the picture", "more than a page"],
)
def test_the_first_page_has_as_much_space_as_holds_all_of_it(lines: int, name: str, pages: int) -> None:
    """Of 100 mm: ten lines of 10 mm, fourteen of 7 mm, twenty of 5 mm, and twenty-five of 4 mm fit."""
    style = (
        "@page { size: 100mm 120mm; margin: 10mm } html, body { margin: 0 } p { margin: 0; height: 10mm }"
        ".dense p { height: 7mm } .full p { height: 5mm } .plain-front p { height: 4mm } "
        "p.onward { height: 99mm }"
    )
    front = "<p>line</p>" * lines
    html = (
        f'<html><style>{style}</style><body class="" data-pages="9">{front}{FIRST_PAGE_ENDS}'
        '<p class="onward">x</p></body></html>'
    )
    assert _front_class(html) == name
    assert len(_layout(html).pages) == pages


@pytest.mark.parametrize(
    ("wanted", "lines", "pages", "classes"),
    [
        (2, 14, 2, "tight dense full"),
        (1, 34, 3, "tight dense full"),
        (0, 1, 1, ""),
        (2, 11, 2, "tight"),
    ],
    ids=["all fits", "it saves two pages", "it saves none", "less space is enough"],
)
def test_where_less_space_saves_no_page_the_least_on_the_first_page_may(
    wanted: int, lines: int, pages: int, classes: str
) -> None:
    """Nine lines and some more on 100 mm: of 10 mm, with less space of 9.9 mm, with the least of 5 mm."""
    style = (
        "@page { size: 100mm 120mm; margin: 10mm } html, body { margin: 0 } p { margin: 0; height: 10mm }"
        ".tight p { height: 9.9mm } .full p { height: 5mm }"
    )
    text = "<p>line</p>"
    html = (
        f'<html><style>{style}</style><body class="" data-pages="{wanted}">{text * 9}{FIRST_PAGE_ENDS}'
        f"{text * lines}</body></html>"
    )
    document = _layout(html)
    assert len(document.pages) == pages
    assert document.pages[0]._page_box.children[0].children[0].element.get("class").strip() == classes


def test_a_document_that_names_no_end_of_its_first_page_is_left_alone() -> None:
    html = '<html><body class="dense">' + "<p>line</p>" * 200 + "</body></html>"
    assert _front_class(html) == ""
