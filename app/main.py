"""Wiring: from settings to the program that answers HTTP."""

import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, nullcontext
from datetime import UTC, datetime

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from sqlalchemy import Engine

from app.knowledge.load import knowledge
from app.knowledge.practice import practice_cases
from app.people.passwords import hash_password
from app.places import DEMO, STATIC, TEMPLATES
from app.report.pdf import warm_up
from app.report.seal_key import CannotSeal, SealKey
from app.settings import Settings
from app.store.accounts import has_demo_accounts
from app.store.demo import load_demo
from app.store.demo_files import Demo, read_demo
from app.store.engine import Pool, close, make_engine, migrate, reading
from app.store.lasting import not_lasting
from app.web import api_docs, errors, first, guard
from app.web.answers import Templates
from app.web.demo_signing import finishing
from app.web.pages import Site
from app.web.process import end_with_parent, settle
from app.web.provider import ClinicProvider
from app.web.routers import ALL_ROUTERS
from app.web.sealing import Sealing, open_sealing, seal_key
from app.web.speaking import Speaking

FIRST_CODE_SAYS = (
    "There is no account yet. The first administrator opens /first and types this code, which can "
    "be used once, within 24 hours: {code}"
)
ANOTHER_DATABASE = (
    "EVENHAND_DATABASE_URL to another database, as in sqlite:////var/lib/evenhand/clinic.sqlite3"
)
# Nothing that a page asks for takes so long, in milliseconds.
LONGEST_STATEMENT_MS = 60_000


def create_app(settings: Settings | None = None, *, is_served: bool = False) -> FastAPI:
    """The program under these settings, or under those of the environment.

    is_served: whether this process does nothing else until it ends, as a server does.

    The database is opened and brought up to date when the server starts, and the knowledge is
    read then: a server whose knowledge does not load does not start. A demonstration with no
    patients yet is given the invented ones; their past is signed while the server answers already.
    """
    settings = settings or Settings()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        end_with_parent()
        knowledge()
        practice_cases()
        engine = app.state.engine = opened(settings)
        app.state.sealing = _sealing(settings, clinic)
        for risk in not_lasting(engine):
            sys.stderr.write(f"Warning: {risk}\n")
        _tell_first_code(engine)
        if is_served:
            warm_up()
            settle()
        with finishing(engine, demo, settings.clinic) if demo else nullcontext():
            yield
        close(engine)

    app = FastAPI(
        title="Evenhand", lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url=None
    )
    demo = demo_of(settings)
    clinic = settings.clinic or (demo.clinic if demo else "")
    provider = settings.provider()
    site = Site(
        clinic=clinic,
        demo=settings.demo,
        plain_http=settings.plain_http,
        provider=settings.oidc_label if provider else "",
        document_type=settings.fhir_document_type,
    )
    app.state.templates = Templates(TEMPLATES, site)
    app.state.plain_http = settings.plain_http
    app.state.api_token = settings.token()
    app.state.address = settings.address
    app.state.small_counts = settings.small_counts
    app.state.provider = ClinicProvider(provider, settings.oidc_label) if provider else None
    app.state.demo_accounts = demo.accounts if demo else ()
    errors.install(app)
    guard.install(app)
    app.state.routes = tuple(route for router in ALL_ROUTERS for route in router.routes)
    for router in ALL_ROUTERS:
        app.include_router(router)
    if settings.api_docs:
        app.include_router(api_docs.router)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    # Added last, it is the outermost: whatever answers, answers in this language.
    app.add_middleware(Speaking, language=settings.language)
    return app


def demo_of(settings: Settings) -> Demo | None:
    """The demonstration as it stands today, where these settings ask for one.

    Raises: BadDemo.
    """
    return read_demo(DEMO, datetime.now(UTC)) if settings.demo else None


def opened(settings: Settings) -> Engine:
    """The database of these settings, brought up to date; the demonstration's, filled.

    Nothing of the demonstration is signed yet.
    Raises: DemoDatabase, BadDemo; OSError, SQLAlchemyError, where it cannot be opened.
    """
    pool = Pool(settings.database_pool, statement_ms=LONGEST_STATEMENT_MS)
    engine = make_engine(settings.database_url, pool)
    try:
        migrate(engine)
        if settings.demo:
            load_demo(engine, DEMO, datetime.now(UTC), hash_password)
            _refuse_clinic(engine)
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
    """The database belongs to a demonstration and the settings to a clinic, or the reverse."""


def _refuse_demo_accounts(engine: Engine) -> None:
    with reading(engine) as session:
        if has_demo_accounts(session):
            raise DemoDatabase(
                "this database holds the accounts of the demonstration, whose passwords everybody "
                f"knows: set EVENHAND_DEMO=true, or {ANOTHER_DATABASE}"
            )


def _refuse_clinic(engine: Engine) -> None:
    """Or each page would say of real people that they are invented."""
    with reading(engine) as session:
        if not has_demo_accounts(session):
            raise DemoDatabase(
                "this database is a clinic's own and no demonstration: set EVENHAND_DEMO=false, or "
                f"{ANOTHER_DATABASE}"
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
