"""The command `evenhand`: serve the program, assess exams without it, verify what it kept."""

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from app.assess.assess import assess
from app.assess.assessment import as_text, faults_as_text
from app.exam.reading import BadExam, parse_exam
from app.knowledge.files import BadKnowledge
from app.knowledge.load import knowledge

if TYPE_CHECKING:
    from sqlalchemy import Engine

# The second: a line that is bad, or something that was altered; the rest was done.
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

    first_code = commands.add_parser(
        "first-code",
        help="make a code for the first administrator",
        description="Make a one-time code with which the first administrator makes their account, "
        "while there is no account yet. Example: evenhand first-code",
    )
    first_code.set_defaults(command=_first_code)

    inviting = commands.add_parser(
        "invite",
        help="make a code for an administrator who cannot sign in any more",
        description="Make a one-time code with which an administrator, whom nobody else can let "
        "in, chooses a new password. The audit tells that it came from the console. "
        "Example: evenhand invite m.okoye",
    )
    inviting.add_argument("sign_in_name", metavar="SIGN-IN-NAME", help="of an administrator")
    inviting.add_argument(
        "--take-second-factor",
        action="store_true",
        help="take the second factor away as well, where the authenticator is lost too",
    )
    inviting.set_defaults(command=lambda asked: _with_settings(lambda: _invite(asked)))

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

    printing = commands.add_parser(
        "paper",
        help="write the blank sheet as PDF",
        description="Write the blank sheet as PDF, so that a stack of it is there on the day the "
        "network fails. Needs no server and no database. Example: evenhand paper -o sheet.pdf",
    )
    printing.add_argument(
        "-o", "--output", metavar="FILE", required=True, help="a file, or - for standard output"
    )
    printing.add_argument("--clinic", help="the clinic's name on it (EVENHAND_CLINIC)")
    printing.set_defaults(command=lambda asked: _with_settings(lambda: _paper(asked)))

    verifying = commands.add_parser(
        "verify",
        help="check that nothing recorded was altered",
        description="Check the audit's chain and every row that it speaks of, in the database of "
        "EVENHAND_DATABASE_URL, and whether PDF files that came back are the very pages that were "
        "signed: unaltered, altered or unknown. Ends with 1 where anything is not as it was. "
        "Example: evenhand verify --head 412:9f86… page.pdf",
    )
    verifying.add_argument("files", metavar="FILE", nargs="*", help="signed pages to look up")
    verifying.add_argument(
        "--head",
        action="append",
        default=[],
        metavar="NUMBER:HASH",
        help="the audit's head as a signed page names it; may be given several times",
    )
    verifying.set_defaults(command=lambda asked: _with_settings(lambda: _verify(asked)))
    return parser


def _serve(asked: argparse.Namespace) -> int:
    # The web server is heavy to import, and `assess` does not need it.
    from app.main import DemoDatabase, serve
    from app.store.demo import BadDemo

    try:
        return _with_settings(lambda: serve(host=asked.host, port=asked.port))
    except (DemoDatabase, BadDemo) as error:
        print(f"evenhand: {error}", file=sys.stderr)
        return BAD_INPUT


def _first_code(_asked: argparse.Namespace) -> int:
    from app.main import new_first_code

    return _with_settings(new_first_code)


def _with_settings(command: Callable[[], int]) -> int:
    """Run what needs the settings and the database; either refuses in a line."""
    from pydantic import ValidationError
    from sqlalchemy.exc import SQLAlchemyError

    from app.store.refusals import Busy, NotFound, Unreadable

    try:
        return command()
    except ValidationError as error:
        for fault in error.errors():
            # What the settings found themselves is said in their words, which name the setting
            # where it is about more than one.
            says = str(fault.get("ctx", {}).get("error", fault["msg"]))
            name = f"EVENHAND_{fault['loc'][0]}: ".upper() if fault["loc"] else ""
            print(f"evenhand: {name}{says}", file=sys.stderr)
        return BAD_INPUT
    except (OSError, Busy, NotFound, Unreadable, SQLAlchemyError) as error:
        print(f"evenhand: {error}", file=sys.stderr)
        return BAD_INPUT


@contextmanager
def _database() -> "Iterator[Engine]":
    """The database of the settings, which is neither made here nor brought up to date.

    Raises: OSError, Unreadable, SQLAlchemyError; ValidationError.
    """
    from app.settings import Settings
    from app.store.engine import check_current, make_engine, parse_address

    url = Settings().database_url
    address = parse_address(url)
    if address.drivername == "sqlite" and not Path(str(address.database)).is_file():
        raise FileNotFoundError(f"there is no database at {address.database}")
    engine = make_engine(url)
    try:
        check_current(engine)
        yield engine
    finally:
        engine.dispose()


def _invite(asked: argparse.Namespace) -> int:
    from app.web.console_code import VALID_FOR, console_code

    with _database() as engine:
        code = console_code(
            engine, asked.sign_in_name, takes_second_factor=asked.take_second_factor
        )
    hours = int(VALID_FOR.total_seconds() // 3600)
    print(
        f"{asked.sign_in_name} opens /invited and types this code, which can be used once, within "
        f"{hours} hours, for a new password: {code}"
    )
    return OK


def _verify(asked: argparse.Namespace) -> int:
    from app.store.engine import reading
    from app.store.verify import parse_head, verify
    from app.web.came_back import UNALTERED, came_back

    try:
        heads = [parse_head(each) for each in asked.head]
    except ValueError as error:
        print(f"evenhand: {error}", file=sys.stderr)
        return BAD_INPUT
    pages = {name: Path(name).read_bytes() for name in asked.files}
    with _database() as engine, reading(engine) as session:
        checked = verify(session, heads)
        found = {name: came_back(session, page) for name, page in pages.items()}
    for name, each in found.items():
        print(f"{name}: {' '.join((f'{each.verdict}.', each.says, *each.more))}")
    for alteration in checked.alterations:
        print(alteration)
    print(
        f"{checked.audit} rows of the audit and {checked.rows} rows that it speaks of: "
        f"{len(checked.alterations) or 'nothing'} altered\nhead {checked.head}"
    )
    is_well = all(each.verdict == UNALTERED for each in found.values())
    return OK if is_well and not checked.alterations else BAD_LINES


def _paper(asked: argparse.Namespace) -> int:
    from app.report.paper import blank_sheet
    from app.settings import Settings

    clinic = Settings().clinic if asked.clinic is None else asked.clinic
    sheet = blank_sheet(clinic, knowledge().version)
    if asked.output == "-":
        sys.stdout.buffer.write(sheet)
    else:
        Path(asked.output).write_bytes(sheet)
    return OK


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
