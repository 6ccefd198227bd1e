"""The queue of a phone in the engine family of iPhones, which loses files that are put into its database."""

from __future__ import annotations

import os
import shutil
import subprocess
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from conftest import DeskServer, StandInServices

pytestmark = pytest.mark.filterwarnings("ignore:setting remote_server_addr:DeprecationWarning:selenium")

BROWSERS = ("/usr/lib/*/webkit2gtk-4.1/MiniBrowser", "/usr/lib/*/webkit2gtk-4.0/MiniBrowser")


@pytest.fixture
def display() -> Iterator[str]:
    """Begin a display that nobody sees; return its name."""
    program = shutil.which("Xvfb")
    if program is None:
        pytest.skip("no Xvfb on this machine")
    reading, writing = os.pipe()
    command = [program, "-displayfd", str(writing), "-screen", "0", "800x1000x24", "-nolisten", "tcp"]
    with subprocess.Popen(command, pass_fds=[writing], stderr=subprocess.DEVNULL) as process:
        os.close(writing)
        with os.fdopen(reading) as said:
            yield f":{said.readline().strip()}"
        process.terminate()


@pytest.fixture
def webkit(display: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Give a browser of WebKitGTK."""
    webdriver = pytest.importorskip("selenium.webdriver")
    service = pytest.importorskip("selenium.webdriver.webkitgtk.service")
    driver = shutil.which("WebKitWebDriver")
    found = [each for pattern in BROWSERS for each in Path("/").glob(pattern[1:])]
    if driver is None or not found:
        pytest.skip("no WebKitGTK on this machine (webkit2gtk-driver)")
    monkeypatch.setenv("DISPLAY", display)
    monkeypatch.setenv("WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS", "1")  # root has none
    options = webdriver.WebKitGTKOptions()
    options.binary_location = str(found[0])
    options.add_argument("--automation")
    browser = webdriver.WebKitGTK(options=options, service=service.Service(driver))
    browser.set_script_timeout(60)
    yield browser
    browser.quit()


def test_texts_photos_and_signatures_wait_for_signal(
    webkit: Any,
    server: DeskServer,
    services: StandInServices,
    tmp_path: Path,
    until: Callable[[Callable[[], object], str], None],
) -> None:
    photo = tmp_path / "photo.jpg"
    Image.effect_noise((2000, 1500), 60).convert("RGB").save(photo)

    def kept() -> str:
        return str(webkit.execute_script("return document.getElementById('kept')?.textContent ?? ''"))

    def is_ready() -> bool:
        return bool(webkit.execute_script("return document.querySelector('form.ready') !== null"))

    webkit.get(f"{server.url}/crew/new")
    until(is_ready, "no card")
    key = webkit.current_url.rpartition("/")[2]
    until(
        lambda: webkit.execute_async_script(
            "const done = arguments[0]; caches.match('/crew/new').then((found) => done(Boolean(found)));"
        ),
        "no copy of the page",
    )
    webkit.refresh()  # now by the worker, which has the scripts too
    until(is_ready, "no card")
    webkit.get(f"{server.url}/crew/card/{key}")
    until(is_ready, "no card")
    server.stop()
    webkit.find_element("name", "owner.name").send_keys("Lee Park")
    webkit.find_element("css selector", "button[value='placement.start']").click()
    webkit.find_element("css selector", "input[data-about='slab']").send_keys(str(photo))
    until(lambda: kept().startswith("3 kept on this phone"), kept())
    webkit.refresh()
    until(is_ready, "no card")
    assert webkit.execute_script("return document.getElementsByName('owner.name')[0].value") == "Lee Park"
    until(lambda: kept().startswith("3 kept"), "not kept")
    server.begin()
    webkit.execute_script("flush()")
    until(lambda: kept() == "All sent", "not sent")
    stored = services.cards.read(key)
    assert stored is not None
    assert stored.card.text("owner.name") == "Lee Park"
    assert stored.card.text("placement.start")
    with Image.open(BytesIO(services.cards.files(key)["photos/slab-1.jpg"])) as picture:
        assert picture.size == (1600, 1200)
