"""Secret addresses of owners' pages: unguessable, kept as a hash, withdrawn for good."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from handover.service.links import TOKEN, LinkTable, derive_token, random_token, read_links, token_digest

AT = datetime(2026, 7, 14, 16, 30, tzinfo=UTC)
KEY = bytes(range(32))


def test_a_token_has_all_bits_that_were_drawn() -> None:
    assert random_token(bytes) == "A" * 22
    assert random_token(lambda count: b"\xff" * count) == "_" * 21 + "w"
    with pytest.raises(ValueError, match="random bytes"):
        random_token(lambda _: b"few")


def test_a_derived_token_follows_from_job_key_and_number() -> None:
    token = derive_token("alder", KEY)
    assert TOKEN.fullmatch(token)
    assert token == derive_token("alder", KEY)
    others = {derive_token("birch", KEY), derive_token("alder", KEY[::-1]), derive_token("alder", KEY, 2)}
    assert len(others | {token}) == 4
    with pytest.raises(ValueError, match="32 bytes"):
        derive_token("alder", b"short")


def test_a_link_opens_the_page_of_its_job_alone() -> None:
    one, other = derive_token("alder", KEY), derive_token("birch", KEY)
    table = LinkTable().add("alder", one, AT).add("birch", other, AT)
    assert (table.job_of(one), table.job_of(other)) == ("alder", "birch")
    for guess in ("", "alder", one[:-1], one + "A", derive_token("oak", KEY), token_digest(one)):
        assert table.job_of(guess) is None


def test_the_table_keeps_no_token() -> None:
    token = derive_token("alder", KEY)
    kept = LinkTable().add("alder", token, AT).to_json()
    assert token.encode() not in kept
    assert read_links(kept).job_of(token) == "alder"


def test_a_link_that_was_withdrawn_never_works_again() -> None:
    token, later = derive_token("alder", KEY), AT + timedelta(days=1)
    table = LinkTable().add("alder", token, AT).withdraw("alder", later)
    assert table.job_of(token) is None
    assert read_links(table.to_json()) == table
    with pytest.raises(ValueError, match="once"):
        table.add("alder", token, later)


def test_a_renewed_link_takes_the_place_of_the_earlier() -> None:
    first, second = derive_token("alder", KEY), derive_token("alder", KEY, 2)
    other = derive_token("birch", KEY)
    table = LinkTable().add("alder", first, AT).add("birch", other, AT).renew("alder", second, AT)
    assert [table.job_of(each) for each in (first, second, other)] == [None, "alder", "birch"]
    assert [each.withdrawn is None for each in table.of("alder")] == [False, True]


@pytest.mark.parametrize("text", [b"", b"[]", b"{}", b'{"links": [{}]}', b'{"links": 1}'])
def test_what_is_no_table_is_refused(text: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_links(text)
