"""`python tests/desk/pictures.py ARCHIVE FOLDER`: the README's pictures of the desk.

The archive is that of `make desk-samples`, and nobody has served it yet.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

AT = "2026-07-14T13:40:00-04:00"
"""The sample's owner waters then."""

PHONE = {"width": 390, "height": 844}
JOB = "2026-07-14-alder-garage"


def begin(archive: Path, port: int) -> tuple[subprocess.Popen[str], str]:
    """Serve an archive that nobody has set up; return the process and the address of the first visit."""
    command = [sys.executable, "-c", "from handover.cli import entry; entry()", "serve", "--as-of", AT]
    process = subprocess.Popen(
        [*command, "--archive", str(archive), "--listen", f"127.0.0.1:{port}"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    printed = ""
    while "Stop it with" not in printed:
        printed += process.stdout.readline()
    found = re.search(r"http\S+/join/\S+", printed)
    assert found, "somebody has set it up already"
    return process, found[0]


def set_up(page: Page, address: str) -> str:
    """Name the firm; return the address of the owner's page of the sample."""
    page.goto(address, wait_until="networkidle")
    for name, text in {"firm": "Whistling Trowel Concrete", "name": "Ines Marlow", "login": "ines"}.items():
        page.fill(f"[name={name}]", text)
    page.fill("[name=password]", "wet all day long")
    page.click("main button")
    page.goto(f"{address.partition('/join/')[0]}/office/jobs/{JOB}")
    page.click("button[value=renew]")
    return page.locator("a[href*='/o/']").first.get_attribute("href") or ""


def take(browser: Browser, address: str, folder: Path) -> None:
    """Take the pictures."""
    context = browser.new_context(viewport=PHONE, locale="en-US")
    page = context.new_page()
    owner = set_up(page, address)
    for name, place in {"owner-page": owner, "crew-card": "/crew/new", "crew-today": "/crew"}.items():
        page.goto(place if "://" in place else f"{address.partition('/join/')[0]}{place}")
        page.wait_for_load_state("networkidle")
        page.screenshot(path=str(folder / f"{name}.png"))


def main(archive: Path, folder: Path) -> None:
    """Serve, take the pictures, stop."""
    process, address = begin(archive, 8799)
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
            take(browser, address, folder)
            browser.close()
    finally:
        process.terminate()
        process.wait()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
