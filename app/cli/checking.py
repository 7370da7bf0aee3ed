"""`evenhand verify`: whether anything recorded was altered."""

import argparse
from pathlib import Path
from typing import Any

from app.cli.opened import BAD_LINES, OK, database, refused, with_settings


def add(commands: Any) -> None:
    """Add the command."""
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
    verifying.set_defaults(command=lambda asked: with_settings(lambda: _verify(asked)))


def _verify(asked: argparse.Namespace) -> int:
    from app.store.engine import reading
    from app.store.verify import parse_head, verify
    from app.web.came_back import UNALTERED, came_back

    try:
        heads = [parse_head(each) for each in asked.head]
    except ValueError as error:
        return refused(error)
    pages = {name: Path(name).read_bytes() for name in asked.files}
    with database() as engine, reading(engine) as session:
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
