"""Whether the database keeps what it acknowledged when the power goes."""

from sqlalchemy import Engine, text

from app.store.engine import reading
from app.store.faults import place

# What each setting of PostgreSQL costs where it is off (its documentation, 20.5 Write Ahead Log).
_MUST_BE_ON = {
    "fsync": "a power cut can destroy the whole database",
    "full_page_writes": "a power cut can destroy the pages that were being written",
    "synchronous_commit": "a crash can lose what was answered with “saved” just before",
}


def not_lasting(engine: Engine) -> list[str]:
    """What is set so that something acknowledged can be lost, a line each.

    Nothing on SQLite, whose settings are the program's own. Raises: Away.
    """
    if engine.dialect.name != "postgresql":
        return []
    with reading(engine) as session:
        found = {name: session.connection().scalar(text(f"SHOW {name}")) for name in _MUST_BE_ON}
    return [
        f"the database {place(engine.url)} runs with {name} = off: {costs}"
        for name, costs in _MUST_BE_ON.items()
        if found[name] == "off"
    ]
