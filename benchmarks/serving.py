"""The demonstration clinic on a database of its own, and its people at a browser."""

import os
import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from app.main import create_app, demo_of, opened
from app.settings import Settings
from app.web.demo_signing import finish_demo

PROGRAMS = (
    "chromium-headless-shell", "chromium", "chromium-browser", "google-chrome",
    "google-chrome-stable",
)  # fmt: skip
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")
# Sign-in names and passwords of seed_demo/clinic.toml.
NURSE = ("demo-nurse", "querrowick-nurse")
PHYSICIAN = ("demo-physician", "querrowick-physician")
ADMINISTRATOR = ("demo-administrator", "querrowick-administrator")


def fill(settings: Settings) -> None:
    """Sign the past of the demonstration, so that no server does it while it is measured."""
    engine, demo = opened(settings), demo_of(settings)
    if demo is not None:
        finish_demo(engine, demo, settings.clinic)
    engine.dispose()


@contextmanager
def served() -> Iterator[str]:
    """The address at which the program is served."""
    with TemporaryDirectory() as folder, socket.socket() as listening:
        url = f"sqlite:///{Path(folder) / 'evenhand.db'}"
        settings = Settings(_env_file=None, database_url=url, demo=True)
        fill(settings)
        app = create_app(settings)
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join()


@contextmanager
def chromium() -> Iterator[Browser]:
    """The Chromium of this machine."""
    named = os.environ.get("EVENHAND_TEST_CHROMIUM")
    program = named or next(filter(None, map(shutil.which, PROGRAMS)))
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=list(FLAGS))
        yield browser
        browser.close()


@contextmanager
def pages(address: str) -> Iterator[tuple[Page, Page]]:
    """The physician at a desk (1280 by 720) and with a tablet (768 by 1024)."""
    with chromium() as browser:
        desk = browser.new_context(base_url=address, viewport={"width": 1280, "height": 720})
        tablet = browser.new_context(
            base_url=address,
            viewport={"width": 768, "height": 1024},
            has_touch=True,
            is_mobile=True,
        )
        opened = desk.new_page(), tablet.new_page()
        for page in opened:
            sign_in(page, PHYSICIAN)
        yield opened


def sign_in(page: Page, account: tuple[str, str]) -> None:
    """Sign somebody in; their first page is open afterwards."""
    name, password = account
    page.goto("/sign-in")
    page.get_by_label("Sign-in name").fill(name)
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_load_state()


def new_exam(page: Page, chart_number: str) -> None:
    """A new patient's sheet, open."""
    page.goto("/patients/new")
    page.get_by_label("Chart number").fill(chart_number)
    page.get_by_label("Family name").fill("Vzorek")
    page.get_by_label("Given name").fill("Emil")
    page.get_by_label("Birth date").fill("1951-03-09")
    page.get_by_role("radio", name="not recorded").check()
    page.get_by_role("button", name="Save and start").click()
    page.locator("#sheet").wait_for()
    page.wait_for_load_state()
