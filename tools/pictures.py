"""Takes README's pictures from the practice clinic, and every page at 320 and 1280 px, light and dark.

README's go to docs/pictures/; the others to pictures/, which is not kept: they are there to be looked at.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).parents[1]
KEPT, LOOKED_AT = ROOT / "docs" / "pictures", ROOT / "pictures"
CHROMIUM_FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
WIDTHS = {"narrow": 320, "wide": 1280}


@contextmanager
def practice_clinic(folder: Path) -> Iterator[str]:
    """The address of a practice clinic that has been played to this morning."""
    command = [Path(sys.executable).parent / "bracewatch", "demo", "--port", "0", "--file", folder / "practice.sqlite3"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        for line in process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:\d+", line):
                yield found[0]
                return
        raise RuntimeError("the practice clinic did not open: run `bracewatch demo` to see why")
    finally:
        process.terminate()
        process.wait(timeout=30)


def first_link(page: Page, address: str, start: str, pattern: str) -> str:
    """The path of the first link on a page that fits the pattern."""
    page.goto(address + start)
    for link in page.locator("a").all():
        if found := re.search(pattern, link.get_attribute("href") or ""):
            return found[0]
    raise RuntimeError(f"no link like {pattern} on {start}")


def take_kept(browser: Browser, address: str, family: str, phone: str) -> None:
    KEPT.mkdir(parents=True, exist_ok=True)
    for name, path, size in [
        ("calls", "/calls", (1100, 760)),
        ("family", family, (1100, 900)),
        ("phone", phone, (760, 900)),
    ]:
        page = browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme="light")
        page.goto(address + path)
        page.screenshot(path=KEPT / f"{name}.png")
        page.close()


def take_all(browser: Browser, address: str, paths: dict[str, str]) -> None:
    shutil.rmtree(LOOKED_AT, ignore_errors=True)
    for scheme in ("light", "dark"):
        for size, width in WIDTHS.items():
            page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
            for name, path in paths.items():
                page.goto(address + path)
                page.screenshot(path=LOOKED_AT / f"{name}-{size}-{scheme}.png", full_page=True)
            page.close()


def main() -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("chromium is missing: run tools/debian.sh chromium")
    with (
        tempfile.TemporaryDirectory() as folder,
        practice_clinic(Path(folder)) as address,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        page = browser.new_page()
        family = first_link(page, address, "/calls", r"/family/\d+")
        phone = family.replace("/family/", "/practice/")
        paths = {
            "calls": "/calls",
            "families": "/families",
            "family": family,
            "texts": "/texts",
            "sending": "/sending",
            "programme": "/programme",
            "practice": "/practice",
            "phone": phone,
        }
        take_kept(browser, address, family, phone)
        take_all(browser, address, paths)
        browser.close()
    print(f"Pictures are in {KEPT.relative_to(ROOT)} and {LOOKED_AT.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
