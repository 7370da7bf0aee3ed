"""Commands for the clinic's own data: signed exams out as tables, exams in from elsewhere."""

import argparse
import sys
from pathlib import Path
from typing import Any

from app.cli.opened import BAD_INPUT, OK, database, refused, with_settings


def add(commands: Any) -> None:
    """Add the commands."""
    exporting = commands.add_parser(
        "export",
        help="write every signed exam into tables",
        description="Write every signed exam into a new folder: tables of exams, findings, "
        "medicines and amendments, with a dictionary of every column. Unless --identified is "
        "given, identifiers are removed; that is not anonymisation, see the README.txt in the "
        "folder. All of it is written or nothing. The audit tells it. "
        "Example: evenhand export --to signed-2026 --format parquet",
    )
    exporting.add_argument(
        "--to", metavar="FOLDER", required=True, help="a folder that is new or empty"
    )
    exporting.add_argument(
        "--format", choices=("csv", "parquet"), default="csv", help="csv unless told otherwise"
    )
    exporting.add_argument(
        "--identified",
        action="store_true",
        help="with names, chart numbers, birth dates and everything typed",
    )
    exporting.add_argument(
        "--key-file",
        metavar="FILE",
        help="a key for the made-up names of patients, of at least 32 characters, instead of the "
        "one in the database",
    )
    exporting.set_defaults(command=lambda asked: with_settings(lambda: _export(asked)))

    importing = commands.add_parser(
        "import",
        help="take exams in, one JSON object a line",
        description="Take exams in from a file with one JSON object a line: whose exam it is, when "
        "it was done and by whom, and the exam itself. They arrive as open exams that were entered "
        "later, and are signed by nobody. Every fault of every line is told, and nothing is taken "
        "in where there is any. A patient's exam of a time at which there is one already is "
        "refused, and so is a file that was taken in before. "
        "Example: evenhand import exams.ndjson --by r.okafor --check",
    )
    importing.add_argument("file", metavar="FILE", help="a file, or - for standard input")
    importing.add_argument(
        "--by",
        metavar="SIGN-IN-NAME",
        required=True,
        help="whose account records them: a nurse's or a physician's",
    )
    importing.add_argument(
        "--check", action="store_true", help="tell what is wrong and take nothing in"
    )
    importing.set_defaults(command=lambda asked: with_settings(lambda: _import(asked)))


def _export(asked: argparse.Namespace) -> int:
    from app.report.data.columns import Form
    from app.store.new_folder import check_free
    from app.web.console_code import AT_CONSOLE
    from app.web.exporting import Asked, export_to, read_key

    folder = Path(asked.to)
    if asked.identified and asked.key_file:
        return refused("--key-file is for an export without identifiers")
    try:
        key = read_key(Path(asked.key_file)) if asked.key_file else None
    except ValueError as error:
        return refused(error)
    # Before anything is read, since reading takes its time.
    check_free(folder)
    form = Form.IDENTIFIED if asked.identified else Form.REMOVED
    with database() as engine:
        done = export_to(engine, folder, Asked(form, asked.format, key), AT_CONSOLE)
    print(f"{folder}: {done}, {form.value}")
    return OK


def _import(asked: argparse.Namespace) -> int:
    from app.web.importing import BadImport, import_exams

    with database() as engine:
        try:
            if asked.file == "-":
                done = import_exams(engine, sys.stdin.buffer, asked.by, only_check=asked.check)
            else:
                with Path(asked.file).open("rb") as file:
                    done = import_exams(engine, file, asked.by, only_check=asked.check)
        except BadImport as bad:
            print("\n".join(map(str, bad.faults)), file=sys.stderr)
            return BAD_INPUT
    says = "can be taken in; nothing was" if asked.check else "taken in, open and unsigned"
    print(f"{done.exams} exams {says}; {done.new_patients} new patients")
    return OK
