"""A folder that is there whole or not at all, for the eyes of its owner alone."""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def check_free(folder: Path) -> None:
    """Refuse a folder that holds anything, or that is none.

    Raises: FileExistsError, NotADirectoryError.
    """
    if folder.exists() and not folder.is_dir():
        raise NotADirectoryError(f"{folder} is not a folder")
    if folder.exists() and any(folder.iterdir()):
        raise FileExistsError(f"{folder} is not empty: name one that is new or empty")


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """A folder to be filled, which takes its name at the end, once all of it is on the disk.

    Raises: OSError; FileExistsError, where the name is taken by then.
    """
    folder = folder.resolve()
    check_free(folder)
    try:
        made = Path(tempfile.mkdtemp(prefix=".evenhand-", dir=folder.parent))
    except OSError as error:
        raise OSError(f"{folder.parent}: {error.strerror}") from error
    try:
        yield made
        for each in made.iterdir():
            each.chmod(0o600)
            to_disk(each)
        to_disk(made)
        # Refused by the system where anything was put there meanwhile.
        made.rename(folder)
        to_disk(folder.parent)
    finally:
        shutil.rmtree(made, ignore_errors=True)


def to_disk(path: Path) -> None:
    """Wait until a file, or what a folder says of its files, would survive a power cut."""
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def file_sha256(file: Path) -> str:
    """The SHA-256 of a file, which may be larger than the memory."""
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()
