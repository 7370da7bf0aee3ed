"""What commands share: how they end, the database that they open, and files written whole."""

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from app.language.words import speaking

if TYPE_CHECKING:
    from sqlalchemy import Engine

# The second: a line that is bad, or something that was altered; the rest was done.
OK, BAD_LINES, BAD_INPUT = 0, 1, 2


def refused(says: object) -> int:
    """Say in a line what is wrong."""
    print(f"evenhand: {says}", file=sys.stderr)
    return BAD_INPUT


def with_settings(command: Callable[[], int]) -> int:
    """Run what needs the settings and the database; either refuses in a line."""
    from pydantic import ValidationError
    from sqlalchemy.exc import SQLAlchemyError

    from app.store.faults import one_line
    from app.store.refusals import Busy, NotFound, Unreadable

    try:
        return command()
    except ValidationError as error:
        for fault in error.errors():
            # What the settings found themselves is said in their words, which name the setting
            # where it is about more than one.
            says = str(fault.get("ctx", {}).get("error", fault["msg"]))
            name = f"EVENHAND_{fault['loc'][0]}: ".upper() if fault["loc"] else ""
            refused(f"{name}{says}")
        return BAD_INPUT
    except BrokenPipeError:
        raise
    except SQLAlchemyError as error:
        return refused(f"the database refused: {one_line(error)}")
    except (OSError, Busy, NotFound, Unreadable) as error:
        return refused(error)


@contextmanager
def database() -> "Iterator[Engine]":
    """The database of the settings, which is neither made here nor brought up to date.

    What is drawn inside is in the language of the settings.

    Raises: OSError, Unreadable, SQLAlchemyError; ValidationError.
    """
    from app.settings import Settings
    from app.store.engine import check_current, make_engine, parse_address

    settings = Settings()
    url = settings.database_url
    address = parse_address(url)
    if address.drivername == "sqlite" and not Path(str(address.database)).is_file():
        raise FileNotFoundError(f"there is no database at {address.database}")
    engine = make_engine(url)
    try:
        check_current(engine)
        with speaking(settings.language):
            yield engine
    finally:
        engine.dispose()


def put(output: str, content: bytes) -> None:
    """Write a file whole or not at all, for its owner alone; - is standard output.

    Raises: OSError, which names the file.
    """
    if output == "-":
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return
    file = Path(output).resolve()
    if file.exists() and not file.is_file():
        if file.is_dir():
            raise IsADirectoryError(f"{output}: is a folder")
        # A pipe or a device keeps what it is.
        file.write_bytes(content)
        return
    try:
        handle, name = tempfile.mkstemp(prefix=".evenhand-", dir=file.parent)
    except OSError as error:
        raise OSError(f"{output}: {error.strerror}") from error
    made = Path(name)
    try:
        with os.fdopen(handle, "wb") as into:
            into.write(content)
        made.replace(file)
    except OSError as error:
        raise OSError(f"{output}: {error.strerror}") from error
    finally:
        made.unlink(missing_ok=True)
