"""Names of files: no way out of the bag, no two that some system takes for one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.archive.bag_names import NameAllocator, safe_path
from handover.base.file_names import casefold_path
from handover.errors import UnusableInput


@pytest.mark.parametrize("path", ["../x", "a/../../x", "/etc/passwd", "a//b", "a/", "", ".", "a/./b"])
def test_a_name_that_leads_out_is_refused(path: str) -> None:
    with pytest.raises(UnusableInput, match="leads out"):
        safe_path(path)


@given(st.lists(st.text("aAßsSé\u0301e~", min_size=1, max_size=4), max_size=12))
def test_no_two_names_on_a_shelf_fold_alike(wanted: list[str]) -> None:
    shelf = NameAllocator({})
    placed = [shelf.allocate(name, mark) for mark, name in enumerate(wanted)]
    assert len({casefold_path(path) for path in placed}) == len(wanted)


def test_the_same_file_again_keeps_its_place_and_another_gets_a_number() -> None:
    shelf = NameAllocator({"photos/edge.jpg": "mark 1"})
    assert shelf.allocate("photos/edge.jpg", "mark 1") == "photos/edge.jpg"
    assert shelf.allocate("Photos/EDGE.jpg", "mark 2") == "photos/EDGE-2.jpg"
    assert shelf.allocate("photos/edge.jpg", "mark 2") == "photos/EDGE-2.jpg"
    assert shelf.allocate("photos/edge.jpg", "mark 3") == "photos/edge-3.jpg"


def test_a_file_is_no_folder() -> None:
    shelf = NameAllocator({"photos": "mark"})
    with pytest.raises(UnusableInput, match="has a file"):
        shelf.allocate("Photos/edge.jpg", "mark 1")


def test_a_folder_is_no_file() -> None:
    shelf = NameAllocator({"photos/edge.jpg": "mark"})
    assert shelf.allocate("PHOTOS", "mark 1") == "PHOTOS-2"
