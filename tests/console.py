"""A command as it is typed, run in this process: starting Python costs more than what it does.

What only a program of its own shows (standard input that stays open, what is imported) is tested
with one, by `as_program`.
"""

import os
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import BytesIO, TextIOWrapper

import pytest

from app.cli import main


@dataclass(frozen=True)
class Ended:
    """How a command ended, and what it said."""

    returncode: int
    stdout: bytes
    stderr: bytes

    @property
    def out(self) -> str:
        """Standard output as text."""
        return self.stdout.decode()

    @property
    def err(self) -> str:
        """Standard error as text."""
        return self.stderr.decode()


def run(
    *arguments: str, given: str | bytes = b"", settings: Mapping[str, str] | None = None
) -> Ended:
    """Run `evenhand` here. settings: environment variables without EVENHAND_."""
    sent = BytesIO(given.encode() if isinstance(given, str) else given)
    out, err = (TextIOWrapper(BytesIO(), "utf-8", write_through=True) for _ in range(2))
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "stdin", TextIOWrapper(sent, "utf-8"))
        for name, value in (settings or {}).items():
            patch.setenv(f"EVENHAND_{name}", value)
        status = main(arguments)
    return Ended(status, *(_bytes(each) for each in (out, err)))


def as_program(*arguments: str, given: bytes = b"") -> Ended:
    """Run `evenhand` as a program of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "app", *arguments],
        input=given,
        capture_output=True,
        check=False,
        env=os.environ,
    )
    return Ended(done.returncode, done.stdout, done.stderr)


def _bytes(stream: TextIOWrapper) -> bytes:
    stream.flush()
    kept = stream.detach()
    assert isinstance(kept, BytesIO)
    return kept.getvalue()
