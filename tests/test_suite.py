"""The suite in several workers: the tests of a file, which share what is dear, stay together."""

from __future__ import annotations

import pytest


def test_the_name_of_a_test_has_the_group_by_which_it_stays_in_one_worker(
    request: pytest.FixtureRequest,
) -> None:
    if not request.config.getoption("loadgroup", default=False):
        pytest.skip("in one process, or begun without --dist loadgroup")
    assert request.node.nodeid.endswith("@tests/test_suite.py")
