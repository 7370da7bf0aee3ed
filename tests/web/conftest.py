"""The program on a real database: over HTTP in this process, and served to a real browser."""

import os
import shutil
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Playwright, expect, sync_playwright

from app.main import create_app
from app.settings import WAY_BACK, Settings
from tests.conftest import new_file
from tests.evidence.searched import Searched
from tests.people.provider import LocalProvider
from tests.postgres import fresh_database
from tests.web.at_provider import link, with_provider
from tests.web.clinic import COLLEAGUE, HERE, NURSE, PHYSICIAN, Clinic, add_members, new_sign_in
from tests.web.visitor import Visitor

# Chromium as root needs --no-sandbox; the rest keeps it from calling home.
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
# What a page must show at last; how fast it must be is said where it is promised.
expect.set_options(timeout=15_000)
PROGRAMS = (
    "chromium-headless-shell", "chromium", "chromium-browser", "google-chrome",
    "google-chrome-stable",
)  # fmt: skip


@pytest.fixture(scope="session")
def peopled_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file in which everybody has an account, to be copied."""
    return new_file(tmp_path_factory.mktemp("peopled"), add_members)


@pytest.fixture
def without_accounts() -> None:
    """Asked for by a test of a new installation."""


@pytest.fixture
def url(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a new database in which everybody has an account, unless the test says not.

    Giving them one took half of the time of starting the program.
    """
    is_new = "without_accounts" in request.fixturenames
    if kind == "sqlite":
        file = tmp_path / "evenhand.db"
        shutil.copy(request.getfixturevalue("migrated_file" if is_new else "peopled_file"), file)
        yield f"sqlite:///{file}"
    else:
        with fresh_database(fill=None if is_new else add_members) as address:
            yield address


@pytest.fixture(autouse=True)
def searched(pytestconfig: pytest.Config) -> Iterator[Searched]:
    """What the program logs during the test, which names nobody."""
    lines = pytestconfig.pluginmanager.get_plugin("searched")
    assert isinstance(lines, Searched)
    with lines.searching():
        yield lines


@pytest.fixture
def settings(url: str) -> Settings:
    """A clinic of the tests' own."""
    return Settings(_env_file=None, database_url=url, clinic="Harbour Clinic")


@pytest.fixture
def app(settings: Settings) -> FastAPI:
    """The program under these settings."""
    return create_app(settings)


@pytest.fixture
def clinic(app: FastAPI) -> Iterator[Clinic]:
    """The program, used over HTTP."""
    with Clinic.of(app) as opened:
        yield opened


@pytest.fixture
def app_without_accounts(without_accounts: None, app: FastAPI) -> Iterator[Clinic]:
    """A new installation, and a browser in which nobody is signed in."""
    with Clinic.of(app, None, has_members=False) as opened:
        yield opened


@pytest.fixture(scope="session")
def serving() -> Iterator[LocalProvider]:
    """The identity provider of this test run; to a browser it is another site than 127.0.0.1."""
    with LocalProvider().serve("localhost") as provider:
        yield provider


@pytest.fixture
def provider(serving: LocalProvider) -> LocalProvider:
    """A provider that answers as it should, on time, until it is told otherwise."""
    serving.be_honest()
    serving.now = None
    serving.redirect_uri = f"{HERE}{WAY_BACK}"
    return serving


@pytest.fixture
def linked_clinic(settings: Settings, provider: LocalProvider) -> Iterator[Clinic]:
    """A clinic with an identity provider, which names the physician; nobody is signed in."""
    with Clinic.of(create_app(with_provider(settings, provider, HERE)), None) as opened:
        link(opened.app.state.engine, provider, PHYSICIAN)
        yield opened


class _Server(uvicorn.Server):
    """A server that says when it is ready."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.is_ready = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, and say so."""
        await super().startup(sockets)
        self.is_ready.set()


@pytest.fixture
def address(app: FastAPI) -> Iterator[str]:
    """The address at which the program is served on this machine."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        # Its lines are those of a served program, and are searched (`searched`).
        server = _Server(uvicorn.Config(app, log_config=None, access_log=False, ws="none"))
        serving = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        serving.start()
        assert server.is_ready.wait(timeout=30)
        add_members(app.state.engine)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.should_exit = True
        serving.join(timeout=30)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """The driver of the browser."""
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """The Chromium of this system; its absence is a failure where everything is required."""
    named = os.environ.get("EVENHAND_TEST_CHROMIUM")
    program = named or next(filter(None, map(shutil.which, PROGRAMS)), None)
    if program is None:
        says = "no Chromium: install chromium, or set EVENHAND_TEST_CHROMIUM to its program"
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            pytest.fail(says)
        pytest.skip(says)
    opened = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
    yield opened
    opened.close()


@pytest.fixture
def contexts(browser: Browser) -> Iterator[list[BrowserContext]]:
    """The separate browsers of one test, closed at its end."""
    opened: list[BrowserContext] = []
    yield opened
    for context in opened:
        context.close()


@pytest.fixture
def visitor(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> Iterator[Visitor]:
    """The physician at a screen; the test fails if any page broke a promise on the way."""
    somebody = Visitor.at(browser, address, contexts)
    somebody.hold(new_sign_in(app.state.engine, PHYSICIAN))
    yield somebody
    assert [] == somebody.broken_promises


@pytest.fixture
def tablet(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> Iterator[Visitor]:
    """The physician with a tablet, upright and worked by thumb."""
    screen: Any = {"viewport": {"width": 768, "height": 1024}, "has_touch": True, "is_mobile": True}
    somebody = Visitor.at(browser, address, contexts, **screen)
    somebody.hold(new_sign_in(app.state.engine, PHYSICIAN))
    yield somebody
    assert [] == somebody.broken_promises


@pytest.fixture
def colleague(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> Iterator[Visitor]:
    """A second physician at another screen."""
    somebody = Visitor.at(browser, address, contexts)
    somebody.hold(new_sign_in(app.state.engine, COLLEAGUE))
    yield somebody
    assert [] == somebody.broken_promises


@pytest.fixture
def nurse(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> Iterator[Visitor]:
    """The nurse at a screen of their own."""
    somebody = Visitor.at(browser, address, contexts)
    somebody.hold(new_sign_in(app.state.engine, NURSE))
    yield somebody
    assert [] == somebody.broken_promises


@pytest.fixture
def plain_visitor(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> Iterator[Visitor]:
    """The physician at a browser that runs no scripts."""
    somebody = Visitor.at(browser, address, contexts, java_script_enabled=False)
    somebody.hold(new_sign_in(app.state.engine, PHYSICIAN))
    yield somebody
    assert [] == somebody.broken_promises
