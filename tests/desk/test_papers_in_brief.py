"""What a crew reads before it hands papers over is on those papers, word for word."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from handover.documents.pages import crew_sheet_html
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.service.archiving import read_issued, read_issued_record
from handover.service.desk.papers_in_brief import papers_in_brief

if TYPE_CHECKING:
    from pathlib import Path


def plain(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", html)).replace("&#39;", "'").replace("\xa0", " ")


@pytest.mark.parametrize("job", ["garage", "shop"])
def test_each_line_is_on_a_paper(issued: Path, job: str) -> None:
    documents, _ = read_issued(issued / job)
    brief = papers_in_brief(documents, "en")
    page = plain(documents["care-page.html"].decode())
    for line in brief.owner:
        for part in re.split(r"(?<=[.?]) ", line.what):
            assert plain(part.rstrip(".")) in page
    schedule = read_schedule(documents["schedule.json"])
    sheet = plain(str(crew_sheet_html(Wording(read_issued_record(documents), schedule))))
    assert brief.crew
    for line in brief.crew:
        assert plain(line.when) in sheet
        assert plain(line.what).partition(". ")[0] in sheet


@pytest.mark.parametrize("job", ["garage", "shop"])
def test_the_crew_reads_it_in_its_own_language(issued: Path, job: str) -> None:
    documents, _ = read_issued(issued / job)
    english, spanish = (papers_in_brief(documents, each) for each in ("en", "es"))
    assert len(english.owner) == len(spanish.owner)
    assert not {each.what for each in english.owner} & {each.what for each in spanish.owner}
