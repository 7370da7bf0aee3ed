"""Wiring: from settings to the program that answers HTTP."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime

import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles

from app.knowledge.load import knowledge
from app.settings import ROOT, Settings
from app.store.demo import load_demo, read_demo
from app.store.engine import make_engine, migrate
from app.web import api, documents, errors, exams, guard, patients, rules, why, worklist
from app.web.answers import Templates
from app.web.pages import Site

DEMO = ROOT / "seed_demo"
ROUTERS = (worklist.router, patients.router, exams.router, documents.router, api.router)
# What is known, and why something was concluded: pages to read, which change nothing.
KNOWLEDGE_ROUTERS = (rules.router, why.router)


def create_app(settings: Settings | None = None) -> FastAPI:
    """The program under these settings, or under those of the environment.

    The database is opened and brought up to date when the server starts, and the knowledge is
    read then: a server whose knowledge does not load does not start. A demonstration with no
    patients yet is given the invented ones.
    """
    settings = settings or Settings()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        knowledge()
        engine = make_engine(settings.database_url)
        migrate(engine)
        if settings.demo:
            load_demo(engine, DEMO, datetime.now(UTC))
        app.state.engine = engine
        yield
        engine.dispose()

    app = FastAPI(
        title="Evenhand", lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url=None
    )
    clinic = settings.clinic
    if settings.demo and not clinic:
        clinic = read_demo(DEMO, datetime.now(UTC)).clinic
    app.state.templates = Templates(ROOT / "templates", Site(clinic=clinic, demo=settings.demo))
    errors.install(app)
    guard.install(app)
    for router in (*ROUTERS, *KNOWLEDGE_ROUTERS):
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=ROOT / "static"), name="static")
    return app


def serve(host: str | None = None, port: int | None = None) -> int:
    """Serve until stopped; host and port stand before those of the settings."""
    settings = Settings()
    uvicorn.run(
        create_app(settings),
        host=settings.host if host is None else host,
        port=settings.port if port is None else port,
        # Addresses hold no patient data, but who opened what belongs in the audit, not here.
        access_log=False,
        server_header=False,
    )
    return 0
