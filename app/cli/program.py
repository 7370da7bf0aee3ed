"""The command `evenhand`: which commands there are, and how one is run."""

import argparse
import sys
from collections.abc import Sequence

from app.cli import assessing, checking, data, exams, keeping, reassessing, server
from app.cli.opened import BAD_INPUT, OK
from app.knowledge.files import BadKnowledge
from app.knowledge.load import knowledge


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    asked = _parser().parse_args(arguments)
    try:
        knowledge()
    except BadKnowledge as error:
        print(f"evenhand: the knowledge cannot be used\n{error}", file=sys.stderr)
        return BAD_INPUT
    try:
        status: int = asked.command(asked)
    except BrokenPipeError:
        # Whoever reads has seen enough; Python would complain once more when it closes the pipe.
        sys.stderr.close()
        return OK
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="evenhand", description="Record a bedside motor exam and see what it adds up to."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    for theme in (server, assessing, exams, data, reassessing, checking, keeping):
        theme.add(commands)
    return parser
