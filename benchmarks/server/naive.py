"""The floor: one route that does one write, as the tutorials of FastAPI and SQLModel write it.

One SQLite file with the settings that it comes with, or PostgreSQL; a session for each request; no
sign-in, no audit, no page. It is served by `uvicorn benchmarks.server.naive:app`.
"""

import os
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends, FastAPI
from sqlmodel import Field, Session, SQLModel, create_engine

URL = os.environ.get("NAIVE_DATABASE_URL", "sqlite://")
engine = create_engine(
    URL, connect_args={"check_same_thread": False} if URL.startswith("sqlite") else {}
)


class Sent(SQLModel):
    """What is sent."""

    exam_id: str = Field(index=True)
    finding: str
    side: str
    value: int


class Entry(Sent, table=True):
    """What is kept of it."""

    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(default_factory=lambda: datetime.now(UTC))


@asynccontextmanager
async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
    """Make the table at start."""
    SQLModel.metadata.create_all(engine, tables=[SQLModel.metadata.tables["entry"]])
    yield


def session() -> Iterator[Session]:
    """A session for one request."""
    with Session(engine) as opened:
        yield opened


app = FastAPI(lifespan=lifespan)


@app.post("/entries/")
def create_entry(sent: Sent, opened: Annotated[Session, Depends(session)]) -> Entry:
    """Keep one entry."""
    entry = Entry.model_validate(sent)
    opened.add(entry)
    opened.commit()
    opened.refresh(entry)
    return entry
