"""Pages in a real browser: how it is started, what serves them, and what outside judges say."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Playwright, ViewportSize
from practice_world import World
from waitress.server import create_server

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PHONE, DESK = ViewportSize(width=320, height=700), ViewportSize(width=1280, height=800)
QUIET = [
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-sandbox",  # the tests may run as root in a container; they open nothing but our own pages
]


def launched(playwright: Playwright) -> Browser:
    """The browser that is installed here."""
    path = shutil.which("chromium")
    assert path, "these tests need the package chromium"
    return playwright.chromium.launch(executable_path=path, args=QUIET)


@contextmanager
def served(world: World) -> Iterator[str]:
    """The pages of a world, served on this machine; their address. Closes its store at the end."""
    server = create_server(world.app, host="127.0.0.1", port=0, threads=2)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}"
    server.close()
    thread.join(timeout=5)
    world.store.close()


def faults(page: Page) -> list[str]:
    """What axe finds: rule and element."""
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": TAGS}}).response["violations"]
    return [f"{fault['id']}: {node['html'][:120]}" for fault in found for node in fault["nodes"]]


def sticks_out(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > window.innerWidth"))
