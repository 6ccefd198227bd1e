"""Set-up once, invitations once, sessions that end, roles, and limits of attempts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from handover.service.desk import people
from handover.service.desk.attempts import SIGN_INS
from handover.service.desk.audit import read_audit
from handover.service.desk.people import NewPerson
from handover.service.desk.refusals import DeskRefusal, TooManyAttempts
from handover.service.desk.tables import INVITATION, PERSON, SESSION

if TYPE_CHECKING:
    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person
    from tests.desk.conftest import DeskClock

PASSWORD = "wet all day long"  # noqa: S105
PLACE = "192.0.2.7"


def sign_in(desk: Desk, login: str = "ana", password: str = PASSWORD) -> str:
    return people.sign_in(desk, login, password, PLACE)


def test_a_firm_is_set_up_once(desk: Desk) -> None:
    first = people.renew_setup(desk)
    second = people.renew_setup(desk)
    assert first is not None
    assert second is not None
    new = NewPerson("Ana", "Ana ", PASSWORD)
    with pytest.raises(DeskRefusal, match="invitation"):
        people.set_up_firm(desk, first, "Firm", new)
    person = people.set_up_firm(desk, second, " Piedmont\nFlatwork ", new)
    assert (person.login, person.role) == ("ana", "owner")
    assert people.firm_name(desk) == "Piedmont Flatwork"
    assert people.renew_setup(desk) is None
    with pytest.raises(DeskRefusal, match="invitation"):
        people.set_up_firm(desk, second, "Other", NewPerson("Eve", "eve", PASSWORD))
    assert [each.login for each in people.people(desk)] == ["ana"]


@pytest.mark.parametrize(
    ("firm", "person", "code"),
    [
        (" ", NewPerson("Ana", "ana", PASSWORD), "firm-missing"),
        ("Firm", NewPerson("", "ana", PASSWORD), "name-missing"),
        ("Firm", NewPerson("Ana", " ", PASSWORD), "login-missing"),
        ("Firm", NewPerson("Ana", "ana", "short"), "password-short"),
        ("Firm", NewPerson("Ana", "ana", "x" * 1000), "password-long"),
    ],
)
def test_a_refused_set_up_leaves_the_link_usable(desk: Desk, firm: str, person: NewPerson, code: str) -> None:
    secret = people.renew_setup(desk)
    assert secret is not None
    with pytest.raises(DeskRefusal, match=code):
        people.set_up_firm(desk, secret, firm, person)
    assert people.firm_name(desk) is None
    assert people.open_invitation(desk, secret, PLACE) == "owner"


def test_an_invitation_is_used_once_and_ends(desk: Desk, firm_owner: Person, desk_clock: DeskClock) -> None:
    secret = people.invite(desk, "crew", firm_owner)
    late = people.invite(desk, "crew", firm_owner)
    assert len(people.invitations(desk)) == 2
    bo = people.accept_invitation(desk, secret, NewPerson("Bo", "bo", PASSWORD))
    assert bo.role == "crew"
    with pytest.raises(DeskRefusal, match="invitation"):
        people.accept_invitation(desk, secret, NewPerson("Eve", "eve", PASSWORD))
    with pytest.raises(DeskRefusal, match="login-taken"):
        people.accept_invitation(desk, late, NewPerson("Bo", "BO", PASSWORD))
    desk_clock.go_on(days=8)
    with pytest.raises(DeskRefusal, match="invitation"):
        people.accept_invitation(desk, late, NewPerson("Cy", "cy", PASSWORD))
    assert people.invitations(desk) == ()


def test_nobody_invites_to_more_than_they_may_do(desk: Desk, firm_owner: Person) -> None:
    office = people.accept_invitation(
        desk, people.invite(desk, "office", firm_owner), NewPerson("Bo", "bo", PASSWORD)
    )
    crew = people.accept_invitation(
        desk, people.invite(desk, "crew", office), NewPerson("Cy", "cy", PASSWORD)
    )
    for by, role in ((office, "owner"), (crew, "crew"), (crew, "office")):
        with pytest.raises(DeskRefusal, match="not-allowed"):
            people.invite(desk, role, by)  # type: ignore[arg-type]


def test_sessions_end_by_time_by_sign_out_and_everywhere(
    desk: Desk, firm_owner: Person, desk_clock: DeskClock
) -> None:
    one, two, three = sign_in(desk), sign_in(desk, " ANA"), sign_in(desk)
    assert people.person_of_session(desk, one) == firm_owner
    people.end_session(desk, one)
    assert people.person_of_session(desk, one) is None
    assert people.person_of_session(desk, two) == firm_owner
    people.end_sessions(desk, firm_owner)
    assert people.person_of_session(desk, two) is people.person_of_session(desk, three) is None
    four = sign_in(desk)
    desk_clock.go_on(days=61)
    assert people.person_of_session(desk, four) is None


def test_a_closed_account_has_no_session_and_gets_none(desk: Desk, firm_owner: Person) -> None:
    bo = people.accept_invitation(
        desk, people.invite(desk, "office", firm_owner), NewPerson("Bo", "bo", PASSWORD)
    )
    session = sign_in(desk, "bo")
    with pytest.raises(DeskRefusal, match="not-allowed"):
        people.close_account(desk, firm_owner.number, bo)
    with pytest.raises(DeskRefusal, match="not-allowed"):
        people.close_account(desk, firm_owner.number, firm_owner)
    people.close_account(desk, bo.number, firm_owner)
    assert people.person_of_session(desk, session) is None
    with pytest.raises(DeskRefusal, match="sign-in"):
        sign_in(desk, "bo")


def test_guesses_of_a_password_are_limited_and_the_limit_ends(
    desk: Desk, firm_owner: Person, desk_clock: DeskClock
) -> None:
    for _ in range(SIGN_INS.most):
        with pytest.raises(DeskRefusal, match="sign-in"):
            sign_in(desk, password="guess number one")  # noqa: S106
    with pytest.raises(TooManyAttempts) as refused:
        sign_in(desk)
    desk_clock.go_on(seconds=refused.value.wait_s + 1)
    assert people.person_of_session(desk, sign_in(desk)) == firm_owner


def test_no_secret_is_kept_as_it_is(desk: Desk, firm_owner: Person) -> None:
    secrets = {sign_in(desk), people.invite(desk, "crew", firm_owner), PASSWORD}
    with desk.reading() as connection:
        rows = [connection.execute(select(each)).all() for each in (SESSION, INVITATION, PERSON)]
    assert not [each for each in secrets if each in repr(rows)]
    assert "$argon2id$" in repr(rows)


def test_the_trail_says_who_did_what(desk: Desk, firm_owner: Person) -> None:
    people.invite(desk, "crew", firm_owner)
    sign_in(desk)
    rows = [(each.who, each.what, each.about) for each in read_audit(desk)]
    assert rows == [
        ("ana", "sign-in", ""),
        ("ana", "invite", "crew"),
        ("ana", "firm", "Piedmont Flatwork"),
    ]
