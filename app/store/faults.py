"""What the database itself refuses or does not answer, told in one line that names the place."""

import sqlite3

from sqlalchemy import URL
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnectionFree

from app.store.refusals import Away, Busy

# PostgreSQL's condition codes (its documentation, appendix A).
_HELD = frozenset({"55P03", "40P01", "40001", "57014"})
_READ_ONLY = "25006"
# What a replica says where a transaction asks to write before it does: feature_not_supported.
_NOT_IN_RECOVERY = "0A000"
_FULL = frozenset({"53100", "53200"})
_ALL_TAKEN = "53300"
# The class of what ends or refuses a connection, and what an operator does.
_GONE = ("08", "57P")
# https://www.sqlite.org/rescode.html: the lower byte is the kind of fault, the rest its details.
_KIND = 0xFF


def place(url: URL) -> str:
    """Where a database is, without who asks there and their password."""
    if url.drivername == "sqlite":
        return str(url.database)
    query_host = url.query.get("host", "")
    host = url.host or (query_host if isinstance(query_host, str) else ", ".join(query_host))
    port = "" if url.port is None else f":{url.port}"
    return f"{host or 'this machine'}{port}/{url.database or ''}"


def read_only(url: URL) -> Away:
    """That a database cannot be written, and what to do."""
    return Away(
        f"the database {place(url)} is read-only, as a replica is: EVENHAND_DATABASE_URL has to "
        "name one that can be written"
    )


def refusal(error: BaseException, url: URL, *, writes: bool) -> Busy | None:
    """What to raise instead; None where it is no fault of the database's own.

    writes: whether the transaction may write. One that only reads meets a read-only database
    without harm, and where it writes all the same the fault is the program's.
    """
    where = f"the database {place(url)}"
    if isinstance(error, NoConnectionFree):
        return Away(f"{where}: every connection of this process is in use; try again")
    if not isinstance(error, DBAPIError):
        return None
    if isinstance(error.orig, sqlite3.Error):
        return _of_sqlite(error.orig, where, writes=writes)
    code: str = getattr(error.orig, "sqlstate", None) or ""
    if code in _HELD:
        return Busy(f"{where} is busy; nothing was saved, try again")
    if code == _READ_ONLY or (code == _NOT_IN_RECOVERY and "recovery" in str(error.orig)):
        return read_only(url) if writes else None
    if code in _FULL:
        return Away(f"{where} has no room left: {one_line(error)}")
    if code == _ALL_TAKEN:
        return Away(f"{where} takes no more connections: {one_line(error)}")
    # A connection that was never made, or was lost, has no code.
    is_lost = error.connection_invalidated or (not code and _is_operational(error))
    if is_lost or code.startswith(_GONE):
        return Away(f"{where} cannot be reached: {one_line(error)}")
    return None


def one_line(error: SQLAlchemyError) -> str:
    """What the driver says, in a line, without the statement and its values."""
    said = error.orig if isinstance(error, DBAPIError) else error
    return " ".join(str(said).split())


def _of_sqlite(fault: sqlite3.Error, where: str, *, writes: bool) -> Busy | None:
    kind = getattr(fault, "sqlite_errorcode", 0) & _KIND
    if kind == sqlite3.SQLITE_BUSY:
        return Busy(f"{where} is busy; nothing was saved, try again")
    if kind == sqlite3.SQLITE_READONLY:
        return Away(f"{where} is read-only") if writes else None
    if kind == sqlite3.SQLITE_FULL:
        return Away(f"{where} has no room left: {fault}")
    if kind in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR):
        return Away(f"{where} cannot be reached: {fault}")
    return None


def _is_operational(error: DBAPIError) -> bool:
    return type(error).__name__ in ("OperationalError", "InterfaceError")
