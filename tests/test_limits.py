"""Large inputs in little memory: each runs in a process of its own whose memory the system bounds.

The large file is sparse: it has a size, and takes no room.
"""

from __future__ import annotations

import json
import shutil
import struct
import subprocess
import sys
import textwrap
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from handover.cli import main

if TYPE_CHECKING:
    from collections.abc import Callable

resource = pytest.importorskip("resource", reason="no limits of memory on this system")

SAMPLE = Path(__file__).parents[1] / "sample_jobs" / "summer-garage"
MEGABYTE = 1_000_000
LARGE = 6_000 * MEGABYTE
MOST = 700 * MEGABYTE
"""Of address space: what the libraries map, and a few hundred megabytes for work."""
ENOUGH_TO_FILE = 300 * MEGABYTE
"""Of address space: the archive computes nothing and maps fewer libraries."""


def run_in_little_memory(program: str, *arguments: object, most: int = MOST) -> str:
    """Return what a program prints whose memory is bounded."""
    limit = f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({most}, {most}))\n"
    command = [sys.executable, "-c", limit + textwrap.dedent(program), *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=ONE_THREAD)
    assert done.returncode == 0, done.stderr
    return done.stdout


ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "1", "PATH": "/usr/bin:/bin"}


def test_spans_that_overlap_stop_at_the_hours_that_a_forecast_can_have(tmp_path: Path) -> None:
    """Each of 7,000 entries spans 60 days: ten million hours in a third of a megabyte."""
    entry = {"validTime": "2026-07-14T00:00:00+00:00/P60D", "value": 20}
    layer = {"uom": "wmoUnit:degC", "values": [entry] * 7000}
    document = {
        "@context": [],
        "properties": {
            "@type": "wx:Gridpoint",
            "updateTime": "2026-07-14T03:15:41+00:00",
            "temperature": layer,
            "forecastOffice": "https://api.weather.gov/offices/RAH",
            "gridId": "RAH",
        },
    }
    file = tmp_path / "weather.json"
    file.write_text(json.dumps(document), "utf-8")
    said = run_in_little_memory(
        """
        import sys
        from handover.weather.location import Location
        from handover.weather.reading import examine_weather
        series, findings = examine_weather(sys.argv[1], Location(36.1, -79.95, "America/New_York"))
        assert series is None
        print(*(each.problem for each in findings), sep="\\n")
        """,
        file,
    )
    assert "its spans overlap" in said


def bomb(file: Path, side: int) -> None:
    """Write a PNG of one colour whose pixels take more memory than there is."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    packer = zlib.compressobj(1)
    row = bytes(1 + 4 * side)
    rows = b"".join(packer.compress(row) for _ in range(side)) + packer.flush()
    head = struct.pack(">IIBBBBB", side, side, 8, 6, 0, 0, 0)
    file.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b""))


def test_a_small_file_of_many_pixels_is_refused_by_its_header(tmp_path: Path) -> None:
    picture = tmp_path / "door.png"
    bomb(picture, 11_900)
    assert picture.stat().st_size < 5 * MEGABYTE
    said = run_in_little_memory(
        """
        import sys
        from pathlib import Path
        from handover.documents.pictures import picture_uri
        from handover.errors import UnusableInput
        try:
            picture_uri(Path(sys.argv[1]).read_bytes(), "door.png", 800)
        except UnusableInput as refused:
            print(refused)
        """,
        picture,
    )
    assert "million pixels" in said


def sparse(file: Path) -> None:
    with file.open("wb") as stream:
        stream.truncate(LARGE)


def test_a_large_photo_of_a_record_is_not_read_whole(tmp_path: Path) -> None:
    text = (SAMPLE / "job.toml").read_text("utf-8")
    record = tmp_path / "job.toml"
    record.write_text(text.replace("[[walkthrough]]\n", '[[walkthrough]]\nphoto = "door.jpg"\n', 1), "utf-8")
    sparse(tmp_path / "door.jpg")
    said = run_in_little_memory(
        """
        import sys
        from pathlib import Path
        from handover.documents.pictures import picture_uri
        from handover.errors import UnusableInput
        from handover.jobs.reading import examine_job
        from handover.service.inputs import pictures_of
        examined = examine_job(Path(sys.argv[1]))
        for name, data in pictures_of(examined.record, examined.source.files).items():
            try:
                picture_uri(data, name, 800)
            except UnusableInput as refused:
                print(refused)
        """,
        record,
    )
    assert "larger than 40 MB" in said


@pytest.fixture(scope="session")
def issued(
    once: Callable[..., Path], without_pdf_engine: Callable[..., Any], with_few_members: Callable[..., Any]
) -> Path:
    """Issue the sample; return its folder, in which nobody writes."""

    def issue(folder: Path) -> None:
        record, weather, at = SAMPLE / "job.toml", SAMPLE / "weather.csv", "2026-07-14T12:30:00-04:00"
        options = ["-w", str(weather), "-o", str(folder / "set"), "--as-of", at]
        with without_pdf_engine(), with_few_members():
            assert main(["issue", str(record), *options]) == 0

    return once("limits", issue) / "set"


ARCHIVE = """
    import sys
    from handover.cli import main
    sys.exit(main(sys.argv[1:]))
"""


def test_a_large_document_of_a_set_is_refused_by_its_size(
    issued: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(issued, tmp_path / "set")
    sparse(tmp_path / "set" / "care-sheet.pdf")
    assert main(["archive", str(tmp_path / "set"), "--to", str(tmp_path / "archive")]) == 1
    assert "more than any document of a set" in capsys.readouterr().err


def test_a_video_beside_a_set_goes_into_its_bag_and_out_of_it_block_by_block(
    issued: Path, tmp_path: Path
) -> None:
    """It is larger than the memory that the program may have, and has zeros only."""
    shutil.copytree(issued, tmp_path / "set")
    video = tmp_path / "set" / "site.mov"
    with video.open("wb") as stream:
        stream.truncate(ENOUGH_TO_FILE + MEGABYTE)
    archive = tmp_path / "archive"
    filing = ("archive", tmp_path / "set", "--to", archive)
    assert "archived" in run_in_little_memory(ARCHIVE, *filing, most=ENOUGH_TO_FILE)
    [kept] = archive.rglob("site.mov")
    assert kept.stat().st_size == video.stat().st_size
    run_in_little_memory(
        ARCHIVE, "forget", "2026-07-14-alder-garage", "--in", archive, "--yes", most=ENOUGH_TO_FILE
    )
    assert not [*archive.rglob("site.mov")]
    for each in (video, *archive.rglob("*.mov")):
        each.unlink()
