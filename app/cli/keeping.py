"""Commands against loss: a backup while the server runs, and the way back from it."""

import argparse
from pathlib import Path
from typing import Any

from app.cli.opened import BAD_LINES, OK, database, refused, with_settings
from app.knowledge.load import knowledge


def add(commands: Any) -> None:
    """Add the commands."""
    keeping = commands.add_parser(
        "backup",
        help="write a backup, while the server runs",
        description="Write the whole database as it is at this moment into a new folder, with a "
        "manifest of hashes and counts; the server goes on. All of it is written or nothing. "
        "Ends with 1 where the database holds something altered, which `evenhand verify` names. "
        "The audit tells it. Example: evenhand backup /mnt/backup/2026-03-04",
    )
    keeping.add_argument("folder", metavar="FOLDER", help="a folder that is new or empty")
    keeping.add_argument(
        "--with-seal",
        action="store_true",
        help="with the key of the clinic's seal, which else has to be kept apart",
    )
    keeping.set_defaults(command=lambda asked: with_settings(lambda: _backup(asked)))

    restoring = commands.add_parser(
        "restore",
        help="restore a backup into an empty place",
        description="Restore a backup into the place that EVENHAND_DATABASE_URL names: a SQLite "
        "file that is not there yet, or an empty PostgreSQL database. Everything is checked "
        "before and after; all of it is restored or nothing. The audit tells it. "
        "Example: evenhand restore /mnt/backup/2026-03-04",
    )
    restoring.add_argument("folder", metavar="FOLDER", help="a backup")
    restoring.set_defaults(command=lambda asked: with_settings(lambda: _restore(asked)))


def _backup(asked: argparse.Namespace) -> int:
    from importlib.metadata import version

    from app.settings import Settings
    from app.store.backup import Versions, back_up
    from app.store.new_folder import check_free
    from app.web.console_code import AT_CONSOLE
    from app.web.sealing import seal_place

    folder, settings = Path(asked.folder), Settings()
    check_free(folder)
    seal = seal_place(settings.seal_file, settings.seal_folder, settings.database_url)
    if asked.with_seal and (seal is None or not seal.is_file()):
        return refused(f"there is no key of a seal{'' if seal is None else f' at {seal}'}")
    with database() as engine:
        manifest, unnoted = back_up(
            engine,
            folder,
            Versions(version("evenhand"), knowledge().version),
            AT_CONSOLE,
            seal if asked.with_seal else None,
        )
    rows = manifest.contents.rows
    print(
        f"{folder}: {rows['exam']} exams, {rows['signature']} signed pieces, "
        f"{manifest.contents.audit_rows} rows of the audit; {manifest.altered or 'nothing'} "
        f"altered\nhead {manifest.contents.audit_head}"
    )
    if asked.with_seal:
        print("The key of the clinic's seal is in it: whoever has it can seal in its name.")
    elif seal is not None and seal.is_file():
        print(f"The key of the clinic's seal is not in it: keep a copy of {seal} apart.")
    if unnoted is not None:
        refused(f"the audit does not tell of this backup: {unnoted}")
    return BAD_LINES if manifest.altered else OK


def _restore(asked: argparse.Namespace) -> int:
    from app.settings import Settings
    from app.store.backup import SEAL
    from app.store.engine import parse_address
    from app.store.faults import place
    from app.store.restore import restore
    from app.web.console_code import AT_CONSOLE
    from app.web.sealing import seal_place

    folder, settings = Path(asked.folder), Settings()
    restored = restore(folder, settings.database_url, AT_CONSOLE)
    told = restored.manifest
    print(
        f"{place(parse_address(settings.database_url))}: as it was on "
        f"{told.made_at:%Y-%m-%d %H:%M:%S} UTC; {told.contents.audit_rows} rows of the audit and "
        f"{restored.rows} rows that it speaks of: {told.altered or 'nothing'} altered\n"
        f"head {restored.head}"
    )
    seal = seal_place(settings.seal_file, settings.seal_folder, settings.database_url)
    if seal is not None and not seal.is_file():
        kept = folder / SEAL
        where = f"the one at {kept}" if kept.is_file() else "your copy"
        print(
            f"There is no key of the clinic's seal at {seal}: put {where} there before you start."
        )
    return BAD_LINES if told.altered else OK
