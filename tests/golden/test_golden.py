"""Every sheet of each sample, as it is issued: how it looks, and what an independent validator says of it.

Each page is held beside the picture of it that somebody looked at and found good.
The pictures are small (50 dots to the inch, 8 greys) and compared as an eye would: by structural similarity
in a window that slides over the page, and by the worst patch, so that a changed word counts as much as a
changed page. Another version of Pango measures text a little differently and may break a line elsewhere:
there only the whole page is compared, and only the first where the break moved a page. After a change that
is meant, look at out/golden and take it over with `make golden`.

Source: Z. Wang, A. C. Bovik, H. R. Sheikh, E. P. Simoncelli (2004), Image quality assessment: from error
visibility to structural similarity, IEEE Transactions on Image Processing 13(4), eq. 13; window and constants
as given there.
"""

from __future__ import annotations

import io
import os
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from page import ValidationProfile, validate_pdf_bytes
from PIL import Image
from scipy.ndimage import gaussian_filter, uniform_filter
from weasyprint.text.ffi import pango

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Sheet = Callable[[str, str, str], bytes]

pytestmark = pytest.mark.spread

ROOT = Path(__file__).parents[2]
KEPT = Path(__file__).parent
SEEN = ROOT / "out" / "golden"
ACCEPT = bool(os.environ.get("HANDOVER_ACCEPT_PICTURES"))
SAMPLES = sorted(each.parent.name for each in (ROOT / "sample_jobs").glob("*/job.toml"))
EDITIONS = ("en-letter", "es-a4")
"""Each language and each paper once: no sheet has words of a paper, or a layout of a language."""
DPI = 50
GREYS = 8
STEP = 255 / (GREYS - 1)
PATCH = 24
"""Pixels across of the patch that must look the same everywhere: half an inch, a short word."""
ALIKE, ALIKE_IN_PATCH = 0.985, 0.75
"""What another build of the rasterizer still gives, and a changed word does not: see the tests below."""
REFLOWED = 0.8
"""What a page whose paragraphs break elsewhere still gives where each strip of it finds its place again."""
MOVED = 24
"""How far a strip may have moved, in pixels: two lines of text."""
TYPESETTER = KEPT / "pango.txt"
"""The version of Pango, to its second number, that set the pictures."""


def pages_of(pdf: bytes, folder: Path) -> list[Image.Image]:
    """Return the pages of a PDF as small grey pictures."""
    command = ["pdftoppm", "-r", str(DPI), "-gray", "-", str(folder / "page")]
    subprocess.run(command, input=pdf, check=True)
    pages = []
    for file in sorted(folder.glob("page*.pgm")):
        with Image.open(file) as page:
            pages.append(page.point(lambda grey: round(round(grey / STEP) * STEP)))
        file.unlink()
    return pages


def similarity(one: Image.Image, other: Image.Image) -> NDArray[np.float64]:
    """Return the structural similarity of two pictures at every point, -1 to 1."""
    x, y = (np.asarray(each, dtype=np.float64) for each in (one, other))

    def blur(values: Any) -> Any:
        return gaussian_filter(values, sigma=1.5, truncate=3.5)

    c1, c2 = (0.01 * 255) ** 2, (0.03 * 255) ** 2
    mean_x, mean_y = blur(x), blur(y)
    var_x, var_y = blur(x * x) - mean_x**2, blur(y * y) - mean_y**2
    covariance = blur(x * y) - mean_x * mean_y
    result: NDArray[np.float64] = ((2 * mean_x * mean_y + c1) * (2 * covariance + c2)) / (
        (mean_x**2 + mean_y**2 + c1) * (var_x + var_y + c2)
    )
    return result


def similarity_by_strips(one: Image.Image, other: Image.Image) -> float:
    """Return the mean similarity of strips across a page, each where it fits best up or down of its place."""
    starts = np.arange(0, one.height, PATCH)
    rows = np.diff(np.append(starts, one.height))
    best = np.full(len(starts), -1.0)
    for shift in range(-MOVED, MOVED + 1):
        moved = Image.fromarray(np.roll(np.asarray(other), shift, axis=0))
        of_rows = similarity(one, moved).mean(axis=1)
        best = np.maximum(best, np.add.reduceat(of_rows, starts) / rows)
    return float(np.average(best, weights=rows))


def typesetter() -> str:
    """Return the version of Pango here, to its second number."""
    major, minor = divmod(pango.pango_version() // 100, 100)
    return f"{major}.{minor}"


def looks_the_same(one: Image.Image, other: Image.Image, *, reflowed: bool = False) -> bool:
    """Return whether nobody would see a difference between two pictures, or none but line breaks."""
    if one.size != other.size:
        return False
    if one.tobytes() == other.tobytes():
        return True  # the similarity is 1 at every point
    if reflowed:
        return similarity_by_strips(one, other) >= REFLOWED
    alike = similarity(one, other)
    return bool(alike.mean() >= ALIKE and uniform_filter(alike, PATCH).min() >= ALIKE_IN_PATCH)


def kept(name: str) -> list[Path]:
    """Return the pictures that are kept of a document, page by page."""
    return sorted(KEPT.glob(f"{name}-[0-9].png"))


def judge(name: str, pdf: bytes, folder: Path) -> None:
    """Compare a document with what is kept of it, or keep it."""
    pages = pages_of(pdf, folder)
    if ACCEPT:
        for file in kept(name):
            file.unlink()
        for number, page in enumerate(pages, 1):
            page.quantize(GREYS).save(KEPT / f"{name}-{number}.png", optimize=True)
        TYPESETTER.write_text(f"{typesetter()}\n")
        return
    reflowed = typesetter() != TYPESETTER.read_text().strip()
    known = kept(name)
    if reflowed and abs(len(pages) - len(known)) == 1:
        pages, known = pages[:1], known[:1]  # all after the break that moved are other pages
    assert len(pages) == len(known), f"{name} has {len(pages)} pages, {len(known)} are kept (make golden)"
    changed = []
    for file, page in zip(known, pages, strict=True):
        with Image.open(file) as before:
            if not looks_the_same(before.convert("L"), page, reflowed=reflowed):
                SEEN.mkdir(parents=True, exist_ok=True)
                page.save(SEEN / file.name)
                changed.append(file.name)
    assert not changed, f"look at {changed} in out/golden; if they are meant so: make golden"


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("sample", SAMPLES)
def test_care_sheet(sample: str, edition: str, sample_sheet: Sheet, tmp_path: Path) -> None:
    judge(f"{sample}-care-{edition}", sample_sheet("care", sample, edition), tmp_path)


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("sample", SAMPLES)
def test_data_sheet(sample: str, edition: str, sample_sheet: Sheet, tmp_path: Path) -> None:
    judge(f"{sample}-data-{edition}", sample_sheet("data", sample, edition), tmp_path)


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("sample", SAMPLES)
def test_crew_sheet(sample: str, edition: str, sample_sheet: Sheet, tmp_path: Path) -> None:
    judge(f"{sample}-crew-{edition}", sample_sheet("crew", sample, edition), tmp_path)


@pytest.mark.parametrize("kind", ["care", "crew", "data"])
@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("sample", SAMPLES)
@pytest.mark.parametrize("profile", [ValidationProfile.PDF_A_3A, ValidationProfile.PDF_UA_1], ids=str)
def test_the_validator_finds_nothing(
    profile: ValidationProfile, sample: str, edition: str, kind: str, sample_sheet: Sheet
) -> None:
    report = validate_pdf_bytes(sample_sheet(kind, sample, edition), profile=profile)
    assert [(each.rule_id, each.message) for each in report.failures] == []
    assert report.is_compliant
    assert report.rules.passed > 100


def test_the_pictures_stay_small() -> None:
    assert sum(each.stat().st_size for each in KEPT.glob("*.png")) < 900_000


# ---- the measure itself


@pytest.fixture
def page() -> Image.Image:
    with Image.open(kept(f"{SAMPLES[-1]}-care-en-letter")[0]) as picture:
        return picture.convert("L")


def test_a_page_looks_like_itself(page: Image.Image) -> None:
    assert similarity(page, page).min() == pytest.approx(1.0)


def test_another_rasterizer_is_no_change(page: Image.Image) -> None:
    """It may round otherwise where a letter's edge covers a part of a dot."""
    noise = np.random.default_rng(7).integers(-5, 6, (page.height, page.width))
    before = np.asarray(page, dtype=np.int64)
    grey = np.clip(before + noise * ((before > 30) & (before < 225)), 0, 255)
    assert looks_the_same(page, Image.fromarray(grey.astype(np.uint8)))


@pytest.mark.parametrize("shift", [2, 20])
def test_a_block_that_moved_is_seen(page: Image.Image, shift: int) -> None:
    moved = page.copy()
    block = page.crop((20, 200, 400, 360))
    moved.paste(255, (20, 200, 400, 360))
    moved.paste(block, (20, 200 + shift))
    assert not looks_the_same(page, moved)


def test_a_word_that_is_gone_is_seen(page: Image.Image) -> None:
    without = page.copy()
    without.paste(255, (20, 38, 130, 62))  # part of the title
    assert not looks_the_same(page, without)


@pytest.mark.parametrize("number", [2, 3])
def test_another_page_is_seen_even_if_lines_may_break_elsewhere(page: Image.Image, number: int) -> None:
    with Image.open(kept(f"{SAMPLES[-1]}-care-en-letter")[number - 1]) as another:
        assert not looks_the_same(page, another.convert("L"), reflowed=True)


@pytest.mark.parametrize("lines", [1, 2])
def test_what_a_longer_paragraph_moves_down_is_found_again(page: Image.Image, lines: int) -> None:
    shift = 9 * lines  # pixels of a line
    rows = np.asarray(page)
    longer = np.concatenate([rows[:210], np.full((shift, page.width), 255, np.uint8), rows[210:-shift]])
    moved = Image.fromarray(longer)
    assert not looks_the_same(page, moved)
    assert looks_the_same(page, moved, reflowed=True)


def test_another_typesetter_may_need_one_page_more_but_no_other_first_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = f"{SAMPLES[-1]}-care-en-letter"
    pages = []
    for file in kept(name):
        with Image.open(file) as picture:
            pages.append(picture.convert("L"))
    made: list[Image.Image] = []
    monkeypatch.setattr(f"{__name__}.pages_of", lambda *_: made)
    monkeypatch.setattr(f"{__name__}.typesetter", lambda: "another")
    monkeypatch.setattr(f"{__name__}.ACCEPT", False)
    monkeypatch.setattr(f"{__name__}.SEEN", tmp_path)
    made[:] = [*pages, pages[-1]]
    judge(name, b"", tmp_path)
    for wrong in ([*pages, pages[-1], pages[-1]], [pages[1], *pages[1:], pages[-1]]):
        made[:] = wrong
        with pytest.raises(AssertionError):
            judge(name, b"", tmp_path)


def test_a_page_of_another_size_is_seen(page: Image.Image) -> None:
    assert not looks_the_same(page, page.resize((page.width, page.height + 10)))


def test_the_file_keeps_every_grey(page: Image.Image) -> None:
    """What is kept is what was compared: nothing is lost on the way to the file."""
    held = io.BytesIO()
    page.quantize(GREYS).save(held, "PNG", optimize=True)
    with Image.open(held) as again:
        assert np.array_equal(np.asarray(again.convert("L")), np.asarray(page))
