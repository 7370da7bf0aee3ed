"""Wiring: from settings to the program that answers HTTP."""

import gc
import os
import signal
import socket
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime
from multiprocessing import parent_process
from threading import Thread

import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from sqlalchemy import Engine
from uvicorn.supervisors import Multiprocess

from app.knowledge.load import knowledge
from app.knowledge.practice import practice_cases
from app.people.passwords import hash_password
from app.report.pdf import warm_up
from app.report.seal_key import CannotSeal, SealKey
from app.settings import ROOT, Settings
from app.store.accounts import has_demo_accounts
from app.store.demo import load_demo, read_demo
from app.store.engine import Pool, close, make_engine, migrate, reading
from app.store.lasting import not_lasting
from app.web import (
    admin_accounts,
    admin_audit,
    admin_clinic,
    admin_export,
    api,
    api_docs,
    cds_hooks,
    compare,
    documents,
    emergency_access,
    entries,
    errors,
    exams,
    fhir,
    first,
    guard,
    health,
    invited,
    lock,
    own_account,
    own_second_factor,
    paper,
    patients,
    practice,
    provider_sign_in,
    registry,
    review,
    rules,
    sign_in,
    signed_exam,
    undo_entry,
    updates,
    verify,
    why,
    worklist,
)
from app.web.answers import Templates
from app.web.demo_signing import sign_demo
from app.web.logged import log_config
from app.web.pages import Site
from app.web.provider import ClinicProvider
from app.web.sealing import Sealing, open_sealing, seal_key

DEMO = ROOT / "seed_demo"
FIRST_CODE_SAYS = (
    "There is no account yet. The first administrator opens /first and types this code, which can "
    "be used once, within 24 hours: {code}"
)
ROUTERS = (
    worklist.router,
    patients.router,
    compare.router,
    exams.router,
    entries.router,
    undo_entry.router,
    updates.router,
    review.router,
    signed_exam.router,
    documents.router,
    verify.router,
    fhir.router,
    api.router,
    cds_hooks.router,
    registry.router,
)
# Who somebody is, and their own account.
ACCOUNT_ROUTERS = (
    sign_in.router,
    lock.router,
    provider_sign_in.router,
    first.router,
    invited.router,
    own_account.router,
    own_second_factor.router,
)
# What an administrator keeps.
ADMIN_ROUTERS = (
    admin_accounts.router,
    admin_clinic.router,
    admin_audit.router,
    admin_export.router,
    emergency_access.router,
)
# What is known, and why something was concluded: pages to read, which change nothing.
KNOWLEDGE_ROUTERS = (rules.router, why.router)
# Invented cases to practise with: they write tries, and nothing of a patient.
PRACTICE_ROUTERS = (practice.router,)
# The section of the permission table is that of what is known: for everybody, about nobody.
PAPER_ROUTERS = (paper.router,)
# What a proxy asks; it says nothing about anybody.
HEALTH_ROUTERS = (health.router,)
# Nothing that a page asks for takes so long, in milliseconds.
LONGEST_STATEMENT_MS = 60_000
# What the web server's own command ends with, where it could not start.
NOT_STARTED = 3
# A process that says nothing for so long is replaced, in seconds; drawing a long page takes less.
WORKER_PATIENCE_S = 30


# How many objects more than were freed there may be before Python looks for circles among them.
# With its own 700 it looks through everything that a page is made of several times a page.
COLLECT_AFTER = (50_000, 10, 10)


def create_app(settings: Settings | None = None, *, is_served: bool = False) -> FastAPI:
    """The program under these settings, or under those of the environment.

    is_served: whether this process does nothing else until it ends, as a server does.

    The database is opened and brought up to date when the server starts, and the knowledge is
    read then: a server whose knowledge does not load does not start. A demonstration with no
    patients yet is given the invented ones.
    """
    settings = settings or Settings()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        end_with_parent()
        knowledge()
        practice_cases()
        engine = app.state.engine = _opened(settings)
        app.state.sealing = _sealing(settings, clinic)
        for risk in not_lasting(engine):
            sys.stderr.write(f"Warning: {risk}\n")
        _tell_first_code(engine)
        if is_served:
            warm_up()
            settle()
        yield
        close(engine)

    app = FastAPI(
        title="Evenhand", lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url=None
    )
    demo = read_demo(DEMO, datetime.now(UTC)) if settings.demo else None
    clinic = settings.clinic or (demo.clinic if demo else "")
    provider = settings.provider()
    site = Site(
        clinic=clinic,
        demo=settings.demo,
        plain_http=settings.plain_http,
        provider=settings.oidc_label if provider else "",
        document_type=settings.fhir_document_type,
    )
    app.state.templates = Templates(ROOT / "templates", site)
    app.state.plain_http = settings.plain_http
    app.state.api_token = settings.token()
    app.state.address = settings.address
    app.state.small_counts = settings.small_counts
    app.state.provider = ClinicProvider(provider, settings.oidc_label) if provider else None
    app.state.demo_accounts = demo.accounts if demo else ()
    errors.install(app)
    guard.install(app)
    routers = (
        *ROUTERS,
        *ACCOUNT_ROUTERS,
        *ADMIN_ROUTERS,
        *KNOWLEDGE_ROUTERS,
        *PRACTICE_ROUTERS,
        *PAPER_ROUTERS,
        *HEALTH_ROUTERS,
    )
    app.state.routes = tuple(route for router in routers for route in router.routes)
    for router in routers:
        app.include_router(router)
    if settings.api_docs:
        app.include_router(api_docs.router)
    app.mount("/static", StaticFiles(directory=ROOT / "static"), name="static")
    return app


def settle() -> None:
    """Take what was made at start, and stays, out of the search for garbage.

    Looking through the knowledge, the templates and the modules takes a fifth of a second, in which
    nobody gets an answer (benchmarks/server).
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)


def end_with_parent() -> None:
    """One of several processes ends when the one that started them is gone, however it went.

    Otherwise they would go on answering with nobody to replace or to stop them, and a new start
    would find the port taken.
    """
    parent = parent_process()
    if parent is not None:

        def wait() -> None:
            parent.join()
            os.kill(os.getpid(), signal.SIGTERM)

        Thread(target=wait, daemon=True).start()


def _opened(settings: Settings) -> Engine:
    pool = Pool(settings.database_pool, statement_ms=LONGEST_STATEMENT_MS)
    engine = make_engine(settings.database_url, pool)
    try:
        migrate(engine)
        if settings.demo:
            now = datetime.now(UTC)
            if load_demo(engine, DEMO, now, hash_password):
                sign_demo(engine, read_demo(DEMO, now), settings.clinic)
        else:
            _refuse_demo_accounts(engine)
    except BaseException:
        engine.dispose()
        raise
    return engine


def _sealing(settings: Settings, clinic: str) -> Sealing:
    """The clinic's seal; a server that has none says so on its console and where it matters."""

    def open_key() -> SealKey:
        try:
            passphrase = settings.passphrase()
        except ValueError as fault:
            raise CannotSeal(str(fault)) from None
        return seal_key(
            settings.seal_file,
            passphrase,
            settings.seal_folder,
            settings.database_url,
            clinic,
            datetime.now(UTC),
        )

    made = open_sealing(open_key, settings.timestamp_url, settings.sign_without_seal)
    if made.seal is None:
        sys.stderr.write(f"Signed pages cannot be sealed: {made.why_not}\n")
    return made


class DemoDatabase(RuntimeError):
    """The database belongs to a demonstration, and the settings do not say that this is one."""


def _refuse_demo_accounts(engine: Engine) -> None:
    with reading(engine) as session:
        if has_demo_accounts(session):
            raise DemoDatabase(
                "this database holds the accounts of the demonstration, whose passwords everybody "
                "knows: set EVENHAND_DEMO=true, or EVENHAND_DATABASE_URL to another database"
            )


def _tell_first_code(engine: Engine) -> None:
    code = first.first_code(engine, again=False)
    if code is not None:
        # On the console and in no log: whoever reads it becomes the administrator.
        sys.stderr.write(f"{FIRST_CODE_SAYS.format(code=code)}\n")
        sys.stderr.flush()


def new_first_code() -> int:
    """Print a new code for the first administrator; refused once there is an account."""
    engine = make_engine(Settings().database_url)
    try:
        migrate(engine)
        code = first.first_code(engine, again=True)
    finally:
        engine.dispose()
    if code is None:
        sys.stderr.write("evenhand: there is an account already; an administrator adds others\n")
        return 1
    sys.stdout.write(f"{FIRST_CODE_SAYS.format(code=code)}\n")
    return 0


def served_app() -> FastAPI:
    """The program in one of several processes of a server."""
    return create_app(is_served=True)


class Prompt(uvicorn.Config):
    """A server of several processes that sends each answer as soon as it is there.

    Where one process listens, asyncio sees to that. A socket that is handed to several does not say
    that it is TCP, so asyncio leaves it alone, and each answer waits 40 ms for its last packet.
    """

    def bind_socket(self) -> socket.socket:
        """The socket that the processes listen on together."""
        listening = super().bind_socket()
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return listening


def serve(host: str | None = None, port: int | None = None) -> int:
    """Serve until stopped; host and port stand before those of the settings.

    Raises: DemoDatabase, BadDemo; OSError, SQLAlchemyError, where the database cannot be opened.
    """
    settings = Settings()
    app = create_app(settings, is_served=True) if settings.workers == 1 else "app.main:served_app"
    # Opened here first: what the web server's own start refuses ends in a traceback.
    _opened(settings).dispose()
    config = Prompt(
        app,
        # Each of several processes makes the program itself, under the same environment.
        factory=settings.workers > 1,
        workers=settings.workers,
        timeout_worker_healthcheck=WORKER_PATIENCE_S,
        host=settings.host if host is None else host,
        port=settings.port if port is None else port,
        log_config=log_config(settings.log),
        # Our own line says the route instead of the address; who opened what is in the audit.
        access_log=False,
        server_header=False,
    )
    server = uvicorn.Server(config)
    with suppress(KeyboardInterrupt):
        if settings.workers > 1:
            Multiprocess(config, sockets=[config.bind_socket()]).run()
        else:
            server.run()
            if not server.started:
                return NOT_STARTED
    return 0
