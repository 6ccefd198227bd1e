"""The crew's pages over HTTP: a form without script, what a phone sends, and what is refused."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO
from typing import TYPE_CHECKING
from urllib.parse import unquote

import pytest
from PIL import Image

from handover.desk.crew import MAX_UPLOAD_BYTES, PapersState
from handover.errors import Finding
from handover.jobs.reading import examine_source
from handover.service.desk.papers_in_brief import BriefLine, PapersInBrief
from handover.service.office import DueItem

if TYPE_CHECKING:
    from conftest import StandInServices
    from starlette.testclient import TestClient

CARD = "/crew/card/card0001"
DAY = {
    "owner.name": "Lee Park",
    "owner.phone": "336-555-0117",
    "owner.language": "es",
    "site.address": "12 Alder Lane, Greensboro NC",
    "site.latitude": "36.10, -79.95",
    "slab.use": "garage floor",
    "slab.length": "34 ft",
    "slab.width": "26 ft",
    "slab.thickness": "4 in",
    "placement.start": "2026-07-14T06:40",
    "placement.end": "2026-07-14T08:05",
    "mix.specified_strength": "3000 psi",
}


def jpeg() -> bytes:
    out = BytesIO()
    Image.new("RGB", (40, 30), "grey").save(out, "JPEG")
    return out.getvalue()


def send(client: TestClient, texts: dict[str, str], key: str = "change-0001", **other: object) -> dict:
    body = {"phone": "phone001", "base": 0, "at": "2026-07-14T10:00:00.000Z", "entries": texts, **other}
    response = client.post(f"{CARD}/changes", json=body, headers={"Idempotency-Key": key})
    assert response.status_code == 200, response.text
    return response.json()


def value(page: str, name: str) -> str:
    found = re.search(rf'name="{re.escape(name)}"[^>]* value="([^"]*)"', page)
    assert found is not None
    return found[1]


# ---- without script ---------------------------------------------------------------------------------


def test_a_form_without_script_makes_a_card(client: TestClient) -> None:
    form = {"base": "0", "key": "form-0001", **DAY}
    assert client.post(CARD, data=form).headers["location"] == CARD
    page = client.get(CARD).text
    assert value(page, "owner.name") == "Lee Park"
    assert value(page, "base") == "1"
    assert "12 Alder Lane</h1>" in page


def test_the_button_takes_the_hour_of_the_site(client: TestClient) -> None:
    form = {"base": "0", "key": "form-0001", "site.latitude": "45.5, -122.6", "now": "placement.start"}
    client.post(CARD, data=form)  # the place is not on the card yet: the clock of the firm
    assert value(client.get(CARD).text, "placement.start") == "2026-07-14T14:05"
    client.post(CARD, data={"base": "1", "key": "form-0002", "now": "placement.end"})
    assert value(client.get(CARD).text, "placement.end") == "2026-07-14T11:05"  # Oregon


def test_a_button_does_not_overwrite_an_hour(client: TestClient) -> None:
    form = {"base": "0", "key": "form-0001", **DAY, "now": "placement.start"}
    client.post(CARD, data=form)
    assert value(client.get(CARD).text, "placement.start") == "2026-07-14T06:40"


def test_a_form_that_is_sent_again_changes_nothing(client: TestClient, services: StandInServices) -> None:
    for width in ("26 ft", "20 ft"):
        client.post(CARD, data={"base": "0", "key": "form-0001", **DAY, "slab.width": width})
    stored = services.cards.read("card0001")
    assert stored is not None
    assert (stored.card.number, stored.card.text("slab.width")) == (1, "26 ft")


def test_an_old_form_does_not_undo_what_a_phone_typed_meanwhile(client: TestClient) -> None:
    client.post(CARD, data={"base": "0", "key": "form-0001", **DAY})
    send(client, {"slab.width": "20 ft"}, base=1)
    client.post(CARD, data={"base": "1", "key": "form-0002", **DAY, "slab.thickness": "5 in"})
    page = client.get(CARD).text
    assert value(page, "slab.width") == "20 ft"
    assert value(page, "slab.thickness") == "5 in"


def test_two_that_differ_are_both_shown_and_a_person_chooses(client: TestClient) -> None:
    client.post(CARD, data={"base": "0", "key": "form-0001", **DAY})
    assert send(client, {"slab.width": "20 ft"})["conflicts"] == {"slab.width": ["26 ft", "20 ft"]}
    page = client.get(CARD).text
    assert page.count('name="choose:slab.width"') == 2
    form = {"base": "2", "key": "form-0002", "slab.width": "20 ft", "choose:slab.width": "26 ft"}
    client.post(CARD, data=form)
    page = client.get(CARD).text
    assert "choose:" not in page
    assert value(page, "slab.width") == "26 ft"


def test_a_picture_in_a_form_is_written_anew(client: TestClient, services: StandInServices) -> None:
    files = {"photo:ticket[1]": ("IMG 0001.JPG", jpeg() + b"a tail that no picture has", "image/jpeg")}
    client.post(CARD, data={"base": "0", "key": "form-0001"}, files=files)
    stored = services.cards.files("card0001")
    assert list(stored) == ["photos/ticket-1.jpg"]
    assert b"tail" not in stored["photos/ticket-1.jpg"]
    shown = client.get(f"{CARD}/photos/ticket-1.jpg")
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/jpeg")


def test_a_broken_picture_is_said_and_loses_nothing_typed(
    client: TestClient, services: StandInServices
) -> None:
    files = {"photo:slab": ("a.jpg", b"no picture", "image/jpeg")}
    response = client.post(CARD, data={"base": "0", "key": "form-0001", **DAY}, files=files)
    assert response.status_code == 422
    assert "cannot be read as a picture" in response.text
    assert value(response.text, "owner.name") == "Lee Park"
    assert services.cards.files("card0001") == {}


def test_a_typed_name_acknowledges_at_this_hour(client: TestClient, services: StandInServices) -> None:
    client.post(CARD, data={"base": "0", "key": "form-0001", **DAY, "acknowledgement.name": "Lee Park"})
    stored = services.cards.read("card0001")
    assert stored is not None
    assert stored.card.text("acknowledgement.time") == "2026-07-14T14:05"


# ---- what a phone sends -----------------------------------------------------------------------------


def test_findings_are_those_of_check_at_their_field(client: TestClient) -> None:
    found = send(client, {**DAY, "slab.thickness": "40 in"})
    (said,) = found["findings"]["slab.thickness"]
    assert said["severity"] == "fault"
    assert said["text"].startswith('"40 in" is more than 24 in')
    assert found["missing"] == []
    assert 'aria-invalid="true"' in client.get(CARD).text


def test_a_change_that_is_sent_again_counts_once(client: TestClient) -> None:
    assert send(client, DAY)["number"] == 1
    assert send(client, DAY)["number"] == 1
    assert send(client, {"slab.width": "20 ft"}, "change-0002", base=1)["number"] == 2


def test_a_photo_that_is_sent_again_is_kept_once(client: TestClient, services: StandInServices) -> None:
    for _ in range(2):
        response = client.post(
            f"{CARD}/photos?about=walkthrough[joints]",
            content=jpeg(),
            headers={"Idempotency-Key": "photo-0001"},
        )
        assert response.status_code == 200
    assert list(services.cards.files("card0001")) == ["photos/walkthrough-1.jpg"]


def test_a_signature_is_drawn_anew(client: TestClient, services: StandInServices) -> None:
    headers = {"Idempotency-Key": "sign-0001"}
    client.post(f"{CARD}/signature/owner", json={"strokes": [[[1, 2], [3, 4]]]}, headers=headers)
    assert b'points="1,2 3,4"' in services.cards.files("card0001")["signature-owner.svg"]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("{", 422), ("[]", 422), ("[" * 100_000, 422), ("{}", 422),
        ('{"phone": "phone001", "base": -1, "at": "2026-07-14T10:00:00Z", "entries": {}}', 422),
        ('{"phone": "phone001", "base": 0, "at": "2026-07-14T10:00:00", "entries": {}}', 422),
        ('{"phone": "phone001", "base": 0, "at": "2026-07-14T10:00:00Z", "entries": {"slab.x": "1"}}', 422),
        ('{"phone": "../x", "base": 0, "at": "2026-07-14T10:00:00Z", "entries": {}}', 422),
        ('"' + "x" * 500_000 + '"', 413),
    ],
)  # fmt: skip
def test_what_no_phone_sends_is_refused(
    client: TestClient, services: StandInServices, body: str, status: int
) -> None:
    response = client.post(f"{CARD}/changes", content=body, headers={"Idempotency-Key": "change-0001"})
    assert response.status_code == status
    assert services.cards.read("card0001") is None


def test_a_picture_that_is_too_large_is_not_read(client: TestClient, services: StandInServices) -> None:
    headers = {"Idempotency-Key": "photo-0001"}
    big = bytes(MAX_UPLOAD_BYTES + 1)
    assert client.post(f"{CARD}/photos?about=slab", content=big, headers=headers).status_code == 413
    assert services.cards.read("card0001") is None


@pytest.mark.parametrize("key", ["x", "UPPER0001", "..%2f..%2fetc", "card0001%00"])
def test_what_is_no_card_is_not_found(client: TestClient, key: str) -> None:
    assert client.get(f"/crew/card/{key}").status_code == 404


# ---- the pages --------------------------------------------------------------------------------------


def test_a_new_card_has_what_the_last_job_said(client: TestClient, services: StandInServices) -> None:
    services.records = [LAST]
    page = client.get("/crew/new").text
    assert value(page, "mix.supplier") == "Copper Kettle Ready Mix"
    assert value(page, "curing.available") == "06:00-07:30, 17:00-21:30"
    assert value(page, "owner.name") == ""
    assert value(page, "slab.thickness") == ""
    assert re.search(r'data-fill="slab.thickness" value="4 in"', page)


LAST = {
    "owner": {"name": "Dana Whitlock"},
    "slab": {"thickness": "4 in"},
    "mix": {"supplier": "Copper Kettle Ready Mix"},
    "curing": {"available": ["06:00-07:30", "17:00-21:30"]},
}


def test_today_has_the_visits_and_the_cards(client: TestClient, services: StandInServices) -> None:
    visit = DueItem(
        "strip", "Strip the edge forms", None, None, "7:30 am to 8:30 am", "j", "Dana <Whitlock>",
        "336-555-0117", "", "118 Alder Lane", "", "",
    )  # fmt: skip
    services.items = [visit, replace(visit, street="", phone="")]
    send(client, {"owner.name": "Lee Park"})
    page = client.get("/crew").text
    assert "Strip the edge forms" in page
    assert "Dana &lt;Whitlock&gt;" in page
    assert page.count('href="tel:3365550117"') == 1
    assert "118%20Alder%20Lane" in page
    assert "still needed: 6" in page


def test_each_person_has_their_language(client: TestClient, services: StandInServices) -> None:
    assert "New slab" in client.get("/crew").text
    services.language = "es"
    page = client.get("/crew").text
    assert 'lang="es"' in page
    assert "Losa nueva" in page


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("path", ["/crew", "/crew/new", CARD, f"{CARD}/handover"])
def test_no_page_has_a_style_or_script_of_its_own(
    client: TestClient, services: StandInServices, path: str, language: str
) -> None:
    services.language = language
    send(client, DAY)
    page = client.get(path).text
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]* src=)|javascript:", page)
    assert 'lang="' + language in page


# ---- handing over -----------------------------------------------------------------------------------


def test_the_link_is_there_once_the_slab_has_a_name(client: TestClient, services: StandInServices) -> None:
    send(client, {"slab.use": "patio"})
    assert "once the slab has a name" in client.get(f"{CARD}/handover").text
    send(client, {"owner.name": "Lee Park", "owner.phone": "336-555-0117"}, "change-0002", base=1)
    page = client.get(f"{CARD}/handover").text
    url = services.owner_url("2026-07-14-lee-park", "ines")
    assert f'href="{url}"' in page
    assert "<svg" in page
    sms = re.search(r'href="(sms:[^"]*)"', page)
    assert sms is not None
    assert sms[1].startswith("sms:3365550117?&amp;body=")
    assert url in unquote(sms[1])


def test_what_is_missing_and_wrong_is_named_and_no_papers_can_be_asked_for(
    client: TestClient, services: StandInServices
) -> None:
    send(client, {"owner.name": "Lee", "slab.thickness": "40 in"})
    page = client.get(f"{CARD}/handover").text
    assert f'<a href="{CARD}#placement.start"><strong>First concrete</strong></a>' in page
    assert "is more than 24 in" in page
    assert "Write the papers" not in page
    client.post(f"{CARD}/handover", data={"key": "request-0001"})
    assert services.requests == {}


def test_papers_are_asked_for_once_with_record_and_files(
    client: TestClient, services: StandInServices
) -> None:
    send(client, {**DAY, "walkthrough[joints].ok": "yes"})
    client.post(
        f"{CARD}/photos?about=walkthrough[joints]", content=jpeg(), headers={"Idempotency-Key": "photo-0001"}
    )
    for _ in range(2):
        client.post(f"{CARD}/handover", data={"key": "request-0001"})
    ((source, files),) = services.requests.values()
    assert list(files) == ["photos/walkthrough-1.jpg"]
    examined = examine_source(source)
    assert examined.record is not None, examined.findings
    assert examined.record.id == "2026-07-14-12-alder-lane"
    assert examined.record.walkthrough[0].photo == "photos/walkthrough-1.jpg"
    page = client.get(f"{CARD}/handover").text
    assert "being written" in page
    assert "Still needed" not in page
    assert "12 Alder Lane" in client.get("/crew").text


def test_papers_that_failed_say_why(client: TestClient, services: StandInServices) -> None:
    send(client, DAY)
    client.post(f"{CARD}/handover", data={"key": "request-0001"})
    services.state = PapersState("failed", (Finding("the forecast could not be downloaded"),))
    page = client.get(f"{CARD}/handover").text
    assert "the forecast could not be downloaded" in page
    assert "Write the papers" in page


def test_the_crew_reads_what_the_owner_reads_first(client: TestClient, services: StandInServices) -> None:
    send(client, DAY)
    client.post(f"{CARD}/handover", data={"key": "request-0001"})
    services.state = PapersState("done")
    owner, crew = BriefLine("Tuesday 5:00 pm", "First water."), BriefLine("Wednesday", "Saw the joints.")
    services.brief = PapersInBrief((owner,), (crew,))
    page = client.get(f"{CARD}/handover").text
    assert page.index("First water.") < page.index("Saw the joints.") < page.index("<svg")
    assert "/care-sheet.pdf" in page


def test_the_message_is_in_the_owners_language(client: TestClient) -> None:
    send(client, DAY)
    page = client.get(f"{CARD}/handover").text
    assert "Cuidado%20de%20su%20concreto" in page


# ---- the home screen --------------------------------------------------------------------------------


def test_the_worker_may_keep_all_pages_of_the_crew(client: TestClient) -> None:
    response = client.get("/crew/worker.js")
    assert response.headers["service-worker-allowed"] == "/crew"
    assert response.headers["cache-control"] == "no-cache"


def test_the_home_screen_has_its_icons(client: TestClient) -> None:
    manifest = client.get("/crew/app.webmanifest").json()
    assert manifest["start_url"] == "/crew"
    for icon in manifest["icons"]:
        with Image.open(BytesIO(client.get(icon["src"]).content)) as picture:
            assert f"{picture.width}x{picture.height}" == icon["sizes"]
    assert client.get("/crew/icon-9999.png").status_code == 404
