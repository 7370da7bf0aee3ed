"""pg_dump and pg_restore, which copy a PostgreSQL whole while others write."""

import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from psycopg.conninfo import make_conninfo
from psycopg.pq import Conninfo
from sqlalchemy import Engine

from app.store.faults import place
from app.store.manifest import VERSION_TABLE
from app.store.refusals import Unreadable

# How long pg_dump waits for somebody who changes the tables, in milliseconds.
LOCK_WAIT_MS = 60_000
# Where Debian keeps the programs of each version of PostgreSQL.
DEBIAN = Path("/usr/lib/postgresql")
# The line of an archive's list that fills Alembic's table.
_VERSION = re.compile(rf"^\d+;.* TABLE DATA \S+ {VERSION_TABLE} ", re.M)


def version_of(program: str) -> str:
    """What a program says of its version.

    Raises: FileNotFoundError, where it is not installed.
    """
    return _run([_find(program), "--version"], {}).strip()


def dump(engine: Engine, snapshot: str, into: Path) -> None:
    """Write the database as it is in the exported snapshot of a transaction that is still open.

    Raises: FileNotFoundError; Unreadable, with what pg_dump says.
    """
    address, secret = _address(engine)
    _run(
        [
            _find("pg_dump"), "--format=custom", f"--snapshot={snapshot}", "--no-password",
            f"--lock-wait-timeout={LOCK_WAIT_MS}", f"--file={into}", f"--dbname={address}",
        ],
        secret,
        f"{place(engine.url)} cannot be copied",
    )  # fmt: skip


def load(engine: Engine, archive: Path, folder: Path) -> None:
    """Fill an empty database in one transaction, but for the version of its tables.

    Without it no server takes the database for one of its own: it is written once all is checked.
    folder: for a list of what is in the archive.
    Raises: FileNotFoundError; Unreadable, with what pg_restore says.
    """
    address, secret = _address(engine)
    program, whole = _find("pg_restore"), f"{archive} cannot be restored"
    listed = _VERSION.sub(";", _run([program, "--list", str(archive)], {}, whole))
    chosen = folder / "archive.list"
    chosen.write_text(listed, encoding="utf-8")
    _run(
        [
            program, "--single-transaction", "--exit-on-error", "--no-owner", "--no-privileges",
            "--no-password", f"--use-list={chosen}", f"--dbname={address}", str(archive),
        ],
        secret,
        whole,
    )  # fmt: skip


def _find(program: str) -> str:
    """The program on the path, or else the newest where Debian keeps them."""
    found = shutil.which(program)
    if found is None:
        kept = sorted(
            DEBIAN.glob(f"[0-9]*/bin/{program}"), key=lambda file: int(file.parent.parent.name)
        )
        found = str(kept[-1]) if kept else None
    if found is None:
        raise FileNotFoundError(
            f"{program} is not installed: it comes with the package postgresql-client, "
            "in the version of the database or a newer one"
        )
    return found


def _address(engine: Engine) -> tuple[str, dict[str, str]]:
    """Where the database is for libpq, and its password for the environment alone.

    Whoever lists the processes of the machine sees what a program was called with.
    """
    told: Mapping[str, Any] = engine.dialect.create_connect_args(engine.url)[1]
    # SQLAlchemy adds what is for its driver alone.
    known = {each.keyword.decode() for each in Conninfo.get_defaults()}
    given = {name: value for name, value in told.items() if name in known}
    password = given.pop("password", None)
    return make_conninfo(**given), {} if password is None else {"PGPASSWORD": str(password)}


def _run(command: Sequence[str], secret: dict[str, str], what: str = "") -> str:
    done = subprocess.run(  # noqa: S603
        command,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        check=False,
        env={**os.environ, **secret, "LC_ALL": "C.UTF-8"},
    )
    if done.returncode != 0:
        said = [line.strip() for line in done.stderr.splitlines() if line.strip()]
        says = said[0] if said else f"status {done.returncode}"
        raise Unreadable(f"{what or command[0]}: {says}")
    return done.stdout
