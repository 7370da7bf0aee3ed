"""The command `evenhand`: serve the program, or assess exams without it."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from app.assess.assess import assess
from app.assess.assessment import as_text, faults_as_text
from app.exam.reading import BadExam, parse_exam
from app.knowledge.files import BadKnowledge
from app.knowledge.load import knowledge

OK, BAD_LINES, BAD_INPUT = 0, 1, 2


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

    serving = commands.add_parser(
        "serve",
        help="serve the pages",
        description="Serve the pages. Example: evenhand serve --port 9000",
    )
    serving.add_argument("--host", help="address to listen on (EVENHAND_HOST, 127.0.0.1)")
    serving.add_argument("--port", type=int, help="port to listen on (EVENHAND_PORT, 8000)")
    serving.set_defaults(command=_serve)

    assessing = commands.add_parser(
        "assess",
        help="assess an exam given as JSON",
        description="Assess one exam, or with --lines one exam a line, given as JSON. "
        "Example: evenhand assess exam.json",
    )
    assessing.add_argument("file", metavar="FILE", help="a file, or - for standard input")
    assessing.add_argument(
        "--lines", action="store_true", help="one exam a line in, one assessment a line out"
    )
    assessing.add_argument(
        "--all", action="store_true", help="list categories that nothing points to as well"
    )
    assessing.set_defaults(command=_assess)
    return parser


def _serve(asked: argparse.Namespace) -> int:
    # The web server is heavy to import, and `assess` does not need it.
    from pydantic import ValidationError

    from app.main import serve

    try:
        return serve(host=asked.host, port=asked.port)
    except ValidationError as error:
        for fault in error.errors():
            name = "_".join(map(str, fault["loc"])).upper()
            print(f"evenhand: EVENHAND_{name}: {fault['msg']}", file=sys.stderr)
        return BAD_INPUT


def _assess(asked: argparse.Namespace) -> int:
    try:
        if asked.file == "-":
            return _assess_from(sys.stdin.buffer, asked)
        with Path(asked.file).open("rb") as file:
            return _assess_from(file, asked)
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            raise
        print(f"evenhand: {asked.file}: {error.strerror}", file=sys.stderr)
        return BAD_INPUT


def _assess_from(file: BinaryIO, asked: argparse.Namespace) -> int:
    return _assess_lines(file, asked) if asked.lines else _assess_one(file, asked)


def _assess_one(file: BinaryIO, asked: argparse.Namespace) -> int:
    try:
        exam = parse_exam(file.read())
    except BadExam as bad:
        print("\n".join(bad.faults), file=sys.stderr)
        return BAD_INPUT
    _write(as_text(assess(exam, knowledge()), every_category=asked.all))
    return OK


def _assess_lines(file: BinaryIO, asked: argparse.Namespace) -> int:
    status = OK
    # An empty line is a bad one: line for line, what comes out belongs to what went in.
    for line in file:
        try:
            assessment = assess(parse_exam(line), knowledge())
            _write(as_text(assessment, every_category=asked.all, indent=None))
        except BadExam as bad:
            _write(faults_as_text(bad.faults))
            status = BAD_LINES
    return status


def _write(text: str) -> None:
    # UTF-8 whatever the terminal says, and at once, so that a reader can follow line by line.
    sys.stdout.buffer.write(text.encode() + b"\n")
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    sys.exit(main())
