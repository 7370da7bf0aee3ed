"""Commands of whoever runs the server: serve the pages, let an administrator in, print on paper."""

import argparse
from typing import Any

from app.cli.opened import OK, database, put, refused, with_settings
from app.knowledge.load import knowledge


def add(commands: Any) -> None:
    """Add the commands."""
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
    inviting.set_defaults(command=lambda asked: with_settings(lambda: _invite(asked)))

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
    printing.set_defaults(command=lambda asked: with_settings(lambda: _paper(asked)))


def _serve(asked: argparse.Namespace) -> int:
    # The web server is heavy to import, and `assess` does not need it.
    from app.main import DemoDatabase
    from app.serve import serve
    from app.store.demo_files import BadDemo

    try:
        return with_settings(lambda: serve(host=asked.host, port=asked.port))
    except (DemoDatabase, BadDemo) as error:
        return refused(error)


def _first_code(_asked: argparse.Namespace) -> int:
    from app.main import new_first_code

    return with_settings(new_first_code)


def _invite(asked: argparse.Namespace) -> int:
    from app.web.console_code import VALID_FOR, console_code

    with database() as engine:
        code = console_code(
            engine, asked.sign_in_name, takes_second_factor=asked.take_second_factor
        )
    hours = int(VALID_FOR.total_seconds() // 3600)
    print(
        f"{asked.sign_in_name} opens /invited and types this code, which can be used once, within "
        f"{hours} hours, for a new password: {code}"
    )
    return OK


def _paper(asked: argparse.Namespace) -> int:
    from app.report.paper import blank_sheet
    from app.settings import Settings

    clinic = Settings().clinic if asked.clinic is None else asked.clinic
    sheet = blank_sheet(clinic, knowledge().version)
    put(asked.output, sheet)
    return OK
