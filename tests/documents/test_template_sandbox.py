"""A contractor's own pages run in a sandbox: they fill in values, and reach nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from handover.documents.templating import fill_text
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    "page",
    [
        "{{ ''.__class__.__mro__ }}",
        "{{ cycler.__init__.__globals__.os.popen('id') }}",
        "{{ own.read_text() }}",
        "{{ own.joinpath('secret').read_text() }}",
        "{{ (own / 'secret').unlink() }}",
        "{{ own.parent.iterdir() | list }}",
        "{{ own | attr('read_text') }}",
        "{{ values.append(1) }}",
        "{% for each in range(10**9) %}x{% endfor %}",
        "{% include '../secret' %}",
        "{{ '{0.__class__}'.format(own) }}",
        "{{ no_such_value }}",
        "{{ unfinished",
    ],
)
def test_a_page_that_reaches_further_is_refused(tmp_path: Path, page: str) -> None:
    own = tmp_path / "own"
    own.mkdir()
    for file in (own / "secret", tmp_path / "secret"):
        file.write_text("the secret")
    (own / "message.txt").write_text(page)
    with pytest.raises(UnusableInput, match="folder of templates"):
        fill_text("message.txt", own, own=own, values=[])
    assert (own / "secret").is_file()


def test_what_a_page_is_given_it_fills_in(tmp_path: Path) -> None:
    (tmp_path / "message.txt").write_text("{% for each in names | sort %}{{ each.upper() }};{% endfor %}")
    assert fill_text("message.txt", tmp_path, names=["b", "a"]) == "A;B;"
