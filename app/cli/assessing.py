"""`evenhand assess`: exams in, assessments out, without settings and without a database."""

import argparse
import sys
from pathlib import Path
from typing import Any, BinaryIO

from app.assess.assess import assess
from app.assess.assessment import as_text, faults_as_text
from app.cli.opened import BAD_INPUT, BAD_LINES, OK
from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge


def add(commands: Any) -> None:
    """Add the command."""
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
