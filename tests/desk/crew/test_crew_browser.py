"""The crew's pages in a browser on a phone-sized screen: without signal, two phones, taps, without script."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

from handover.desk.crew import PapersState
from handover.jobs.reading import examine_source
from handover.service.office import DueItem

if TYPE_CHECKING:
    from collections.abc import Callable

    from conftest import DeskServer, Phone, StandInServices

    PhoneOf = Callable[..., Phone]

MOST_TAPS = 25
"""The second job of a firm: what the desk promises."""

LAST: dict[str, Any] = {
    "contractor": {"name": "Blue Heron Concrete", "phone": "336-555-0142"},
    "owner": {"name": "Dana Whitlock"},
    "slab": {"use": "patio", "thickness": "4 in", "joints": "sawn", "on": "gravel"},
    "mix": {"supplier": "Copper Kettle Ready Mix", "specified_strength": "3000 psi", "cement": "I"},
    "curing": {"method": "sprinkler", "available": ["06:00-07:30", "17:00-21:30"]},
    "forms": {"edge": True},
}
"""The record of the firm's last job. All of it is invented."""

HERE = {"latitude": 36.07, "longitude": -79.79}


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    file = tmp_path / "IMG 0001.JPG"
    Image.effect_noise((2400, 1800), 60).convert("RGB").save(file, quality=90)
    return file


def ready_for_no_signal(phone: Phone) -> None:
    """Open the crew's pages until the phone has its copies."""
    phone.page.goto("/crew")
    phone.page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    phone.page.wait_for_function("() => caches.match('/crew/new').then(Boolean)")
    phone.page.goto("/crew/new")  # by the worker, which now has its files too
    phone.page.wait_for_selector("form.ready")


def test_a_day_without_signal_is_kept_and_sent_once(
    phone_of: PhoneOf, server: DeskServer, services: StandInServices, photo: Path
) -> None:
    services.records = [LAST]
    phone = phone_of()
    ready_for_no_signal(phone)
    server.stop()
    key = phone.new_card()
    phone.tap("button[value='placement.start']")
    phone.type("owner.name", "Lee Park")
    phone.type("slab.length", "34")
    phone.tap("[name='slab.use'][value='garage floor']")
    phone.page.set_input_files("input[data-about='ticket[1]']", photo)
    phone.wait_for_kept("5 kept on this phone")
    phone.sign("owner")
    phone.wait_for_kept("7 kept on this phone No signal.")

    phone.page.reload()  # nothing is lost with the page
    phone.page.wait_for_selector("form.ready")
    assert phone.page.url.endswith(key)
    assert phone.page.input_value("[name='owner.name']") == "Lee Park"
    assert phone.page.input_value("[name='slab.length']") == "34 ft"
    assert phone.page.input_value("[name='placement.start']")
    assert phone.page.locator(".thumb").count() == 1
    phone.wait_for_kept("7 kept")

    server.begin()
    phone.page.evaluate("() => flush()")
    phone.wait_for_kept("All sent")
    stored = services.cards.read(key)
    assert stored is not None
    assert stored.card.text("slab.length") == "34 ft"
    assert stored.card.text("mix.supplier") == "Copper Kettle Ready Mix"
    assert stored.card.text("acknowledgement.name") == "Lee Park"
    assert stored.signed == {"owner"}
    assert not stored.card.conflicts
    with Image.open(BytesIO(services.cards.files(key)["photos/ticket-1.jpg"])) as picture:
        assert picture.size == (1600, 1200)
    phone.page.reload()
    phone.wait_for_kept("All sent")
    again = services.cards.read(key)
    assert again is not None
    assert again.card.number == stored.card.number


def test_a_card_that_others_began_is_on_the_phone_without_signal(
    phone_of: PhoneOf, server: DeskServer, services: StandInServices
) -> None:
    one, two = phone_of(), phone_of()
    key = one.new_card()
    one.type("owner.name", "Lee Park")
    one.tap("#job-name")
    one.wait_for_changes(1)
    ready_for_no_signal(two)
    two.page.goto("/crew")
    two.page.wait_for_function("path => caches.match(path).then(Boolean)", arg=f"/crew/card/{key}")
    server.stop()
    two.page.goto("/crew")
    two.tap(f"a[href='/crew/card/{key}']")
    two.page.wait_for_selector("form.ready")
    assert two.page.input_value("[name='owner.name']") == "Lee Park"
    two.type("slab.width", "26")
    two.tap("#job-name")
    two.wait_for_kept("1 kept")
    server.begin()
    two.page.evaluate("() => flush()")
    two.wait_for_changes(2)
    stored = services.cards.read(key)
    assert stored is not None
    assert stored.card.texts == {"owner.name": "Lee Park", "slab.width": "26 ft"}


def test_a_visit_is_ticked_without_signal(
    phone_of: PhoneOf, server: DeskServer, services: StandInServices
) -> None:
    services.items = [
        DueItem("strip", "Strip the edge forms", None, None, "7:30 am", "job", "Dana", "", "", "", "", "")
    ]
    phone = phone_of()
    phone.page.goto("/crew")
    server.stop()
    phone.tap("[data-keep] button")
    phone.wait_for_kept("1 kept on this phone No signal.")
    server.begin()
    phone.page.evaluate("() => flush()")
    phone.wait_for_kept("All sent")
    assert ("job", "strip") in services.ticks
    phone.page.reload()
    assert phone.page.locator(".visit.done").count() == 1


def test_who_signs_out_leaves_nothing_on_the_phone_and_loses_nothing(
    phone_of: PhoneOf, server: DeskServer, services: StandInServices
) -> None:
    phone = phone_of()
    ready_for_no_signal(phone)
    server.stop()
    key = phone.new_card()
    phone.type("owner.name", "Lee Park")
    phone.tap("#job-name")
    phone.wait_for_kept("1 kept")
    phone.page.goto("/crew")
    phone.wait_for_kept("1 kept")
    phone.tap("[data-sign-out] button")  # not before it is sent
    phone.page.evaluate("() => flush()")
    phone.wait_for_kept("1 kept on this phone No signal.")
    assert phone.page.url.endswith("/crew")
    server.begin()
    phone.tap("[data-sign-out] button")
    phone.page.wait_for_url("**/sign-in")
    assert services.cards.read(key) is not None
    assert phone.page.evaluate("() => caches.has('crew-pages')") is False


def test_what_the_server_took_without_a_word_is_sent_again_and_counts_once(
    phone_of: PhoneOf, services: StandInServices
) -> None:
    phone = phone_of()
    key = phone.new_card()
    # The server takes the change, and the phone does not hear of it.
    phone.page.route("**/changes", lambda route: (route.fetch(), route.abort()))
    phone.type("owner.name", "Lee Park")
    phone.tap("#job-name")
    phone.wait_for_kept("1 kept on this phone No signal.")
    phone.page.unroute("**/changes")
    phone.page.evaluate("() => flush()")
    phone.wait_for_kept("All sent")
    stored = services.cards.read(key)
    assert stored is not None
    assert stored.card.number == 1


def test_a_browser_that_keeps_nothing_says_so_before_anything_is_typed(phone_of: PhoneOf) -> None:
    phone = phone_of()
    phone.page.add_init_script(
        "IDBObjectStore.prototype.put = () => { throw new DOMException('no', 'QuotaExceededError'); }"
    )
    phone.page.goto("/crew/new")
    phone.page.wait_for_selector("#refused:not([hidden])")
    assert "keeps nothing on the phone" in phone.page.locator("#refused").inner_text()
    phone.problems.clear()  # the card itself cannot begin


def test_two_phones_differ_and_a_person_chooses(phone_of: PhoneOf, services: StandInServices) -> None:
    one, two = phone_of(), phone_of()
    key = one.new_card()
    one.type("owner.name", "Lee Park")
    one.tap("#job-name")
    one.wait_for_changes(1)
    two.page.goto(f"/crew/card/{key}")
    two.page.wait_for_selector("form.ready")
    for phone, text, number in ((one, "26", 2), (two, "24", 3)):
        phone.type("slab.width", text)
        phone.tap("#job-name")
        phone.wait_for_changes(number)
    choice = two.page.locator("[data-field='slab.width'] .choice")
    choice.wait_for()
    assert choice.locator("button").all_inner_texts() == ["26 ft", "24 ft"]
    choice.locator("button", has_text="26 ft").tap()
    two.wait_for_changes(4)
    assert choice.count() == 0
    stored = services.cards.read(key)
    assert stored is not None
    assert not stored.card.conflicts
    assert stored.card.text("slab.width") == "26 ft"


def test_a_finding_is_at_its_field_in_the_words_of_check(phone_of: PhoneOf) -> None:
    phone = phone_of()
    phone.new_card()
    phone.type("slab.thickness", "40 in")
    phone.tap("#job-name")
    said = phone.page.locator("[data-field='slab.thickness'] .finding")
    said.wait_for()
    assert said.inner_text().startswith('"40 in" is more than 24 in')
    assert phone.page.get_attribute("[name='slab.thickness']", "aria-invalid") == "true"


def test_an_hour_is_corrected_and_not_overwritten_by_a_second_tap(
    phone_of: PhoneOf, services: StandInServices
) -> None:
    phone = phone_of()
    key = phone.new_card()
    phone.tap("button[value='placement.start']")
    phone.wait_for_changes(1)
    phone.page.fill("[name='placement.start']", "2026-07-14T06:40")
    phone.tap("#job-name")
    phone.wait_for_changes(2)
    phone.tap("button[value='placement.start']")
    assert phone.page.evaluate("() => document.activeElement.name") == "placement.start"
    assert "6:40" in phone.page.locator("button[value='placement.start']").inner_text()
    stored = services.cards.read(key)
    assert stored is not None
    assert stored.card.text("placement.start") == "2026-07-14T06:40"


def test_the_walk_goes_with_the_use_that_was_tapped(phone_of: PhoneOf) -> None:
    phone = phone_of()
    phone.new_card()
    apron = phone.page.locator("[data-field='walkthrough[apron].ok']")
    assert not apron.is_visible()
    phone.tap("[name='slab.use'][value='driveway']")
    assert apron.is_visible()


def test_the_second_job_of_a_firm_takes_few_taps(phone_of: PhoneOf, services: StandInServices) -> None:
    services.records, services.clock = [LAST], None
    phone = phone_of(geolocation=HERE, permissions=["geolocation", "clipboard-write"])
    phone.page.goto("/crew")
    phone.tap("a[href='/crew/new']")
    phone.page.wait_for_selector("form.ready")
    key = phone.page.url.rpartition("/")[2]
    phone.tap("button[value='placement.start']")
    phone.type("owner.name", "Lee Park")
    phone.type("owner.phone", "336-555-0117")
    phone.type("site.address", "12 Alder Lane, Greensboro NC")
    phone.tap("#here")
    phone.page.wait_for_function("() => document.querySelector(\"[name='site.latitude']\").value")
    phone.tap("[name='slab.use'][value='garage floor']")
    phone.type("slab.length", "34")
    phone.type("slab.width", "26")
    phone.tap("[data-fill='slab.thickness']")
    phone.tap("[name='slab.exposure'][value='outdoors']")
    phone.tap("button[value='placement.end']")
    phone.tap("button[value='placement.finished']")
    # A day takes no hours in a test: the three taps are moved apart.
    for name, minutes in (("start", 300), ("end", 210), ("finished", 5)):
        text = phone.page.evaluate("minutes => clock(new Date(Date.now() - minutes * 60000))", minutes)
        phone.page.fill(f"[name='placement.{name}']", text)
    for item in phone.page.locator("fieldset.walk:visible").all():
        phone.taps += 1
        item.locator("input[value=yes]").tap()
    phone.sign("owner")
    phone.page.wait_for_function("() => document.querySelector(\"[name='acknowledgement.name']\").value")
    phone.tap("button[name=next]")
    phone.page.wait_for_url("**/handover")
    services.state = PapersState("done")
    phone.tap("form button.main")
    phone.page.wait_for_selector("a[href^='sms:']")
    phone.tap("#copy")
    phone.page.wait_for_function("() => document.getElementById('copy').textContent === 'Copied.'")
    ((source, files),) = services.requests.values()
    examined = examine_source(source)
    assert examined.record is not None, examined.findings
    assert examined.record.site.timezone == "America/New_York"
    assert examined.record.acknowledgement is not None
    assert "signature-owner.svg" in files
    assert key
    assert phone.taps <= MOST_TAPS, phone.taps


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_no_page_is_wider_than_its_screen(
    phone_of: PhoneOf, services: StandInServices, width: int, language: str
) -> None:
    services.records, services.language = [LAST], language
    where = "Alder Lane, garage floor, 12 Alder Lane, Greensboro, North Carolina 27401"
    services.items = [DueItem("strip", where, None, None, "7:30 am", "job", where, "1", "", where, "", "")]
    phone = phone_of(viewport={"width": width, "height": 700})
    key = phone.new_card()
    phone.type("owner.name", "Lee Park")
    phone.tap("#job-name")
    phone.wait_for_changes(1)
    phone.page.locator("details").evaluate_all("each => each.forEach((one) => { one.open = true; })")
    for path in (None, "/crew", f"/crew/card/{key}/handover"):
        if path:
            phone.page.goto(path)
        assert phone.page.evaluate("() => document.documentElement.scrollWidth") <= width
        small = phone.page.evaluate(
            """() => [...document.querySelectorAll("button, .button, .chip, select, input")]
            .filter((each) => each.checkVisibility() && !each.matches(".chip input, .photo input, .first"))
            .filter((each) => each.getBoundingClientRect().height < 44).map((each) => each.outerHTML)"""
        )
        assert small == []


@pytest.fixture(scope="session")
def axe() -> str:
    """Return the script of axe-core, which a package for tests brings along."""
    package = pytest.importorskip("axe_playwright_python")
    return next(Path(package.__file__).parent.glob("**/axe.min.js")).read_text(encoding="utf-8")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_axe_finds_nothing(
    phone_of: PhoneOf, services: StandInServices, axe: str, language: str, scheme: str
) -> None:
    services.records, services.language = [LAST], language
    phone = phone_of(color_scheme=scheme)
    key = phone.new_card()
    phone.type("slab.thickness", "40 in")
    phone.type("owner.name", "Lee Park")
    phone.tap("#job-name")
    phone.page.wait_for_selector(".finding")
    phone.page.locator("details").evaluate_all("each => each.forEach((one) => { one.open = true; })")
    for path in (None, "/crew", f"/crew/card/{key}/handover"):
        if path:
            phone.page.goto(path)
        found = phone.page.evaluate(f"{axe}; axe.run()")
        assert [(each["id"], [node["html"] for node in each["nodes"]]) for each in found["violations"]] == []
        assert len(found["passes"]) > 20  # it did look


def test_a_card_is_filled_in_by_keyboard_alone(phone_of: PhoneOf, services: StandInServices) -> None:
    phone = phone_of(has_touch=False, is_mobile=False)
    key = phone.new_card()
    pressed = 0
    while not phone.page.evaluate("() => document.activeElement.name === 'slab.use'"):
        phone.page.keyboard.press("Tab")
        pressed += 1
        assert pressed < 40
    phone.page.keyboard.press("ArrowDown")
    phone.page.keyboard.press("Tab")
    phone.page.keyboard.type("34 ft")
    phone.page.keyboard.press("Tab")
    phone.wait_for_changes(2)
    stored = services.cards.read(key)
    assert stored is not None
    assert stored.card.texts == {"slab.use": "garage floor", "slab.length": "34 ft"}


def test_a_card_is_filled_in_without_script(phone_of: PhoneOf, services: StandInServices) -> None:
    services.records = [LAST]
    phone = phone_of(java_script_enabled=False)
    page = phone.page
    page.goto("/crew")
    page.get_by_role("link", name="New slab").tap()
    page.fill("[name='owner.name']", "Lee Park")
    page.fill("[name='site.latitude']", "https://maps.example.com/?q=36.07,-79.79")
    page.fill("[name='slab.length']", "34 ft")
    page.fill("[name='slab.width']", "26 ft")
    page.fill("[name='slab.thickness']", "4 in")
    page.locator("button[value='placement.start']").tap()
    page.locator("[name='placement.start'][value='2026-07-14T14:05']").wait_for()
    page.locator("button[value='placement.end']").tap()
    page.locator("[name='placement.end'][value='2026-07-14T14:05']").wait_for()
    page.fill("[name='placement.start']", "2026-07-14T12:10")
    page.get_by_role("button", name="Before handing over").tap()
    page.get_by_role("button", name="Write the papers").tap()
    page.get_by_text("The papers are being written").wait_for()
    ((source, _),) = services.requests.values()
    examined = examine_source(source)
    assert examined.record is not None, examined.findings
    assert examined.record.id == "2026-07-14-lee-park"
    assert examined.record.mix.supplier == "Copper Kettle Ready Mix"
