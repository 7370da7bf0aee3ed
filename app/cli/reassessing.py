"""`evenhand reassess`: which signed exams would read differently under the knowledge in force."""

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict
from itertools import islice
from pathlib import Path
from typing import Any

from app.assess.reassessed import AsSigned, Change
from app.cli.opened import OK, database, refused, with_settings
from app.knowledge.load import Knowledge, knowledge
from app.knowledge.mentions import label_of
from app.knowledge.terms import fall_level_words, level_words, urgency_words
from app.store.registry.work_file import Differs, WorkFile

_WIDTH = 30


def add(commands: Any) -> None:
    """Add the command."""
    reassessing = commands.add_parser(
        "reassess",
        help="tell which signed exams would read differently now",
        description="Read every signed exam again under the knowledge of this version, and list "
        "those whose warnings, categories, falls group or hazards would read differently: new "
        "emergencies first, then other warnings by their urgency, then levels. What was signed is "
        "not changed, and nothing is written but the file of --resume. "
        "Example: evenhand reassess --against 2026.1 --resume reassess.work",
    )
    reassessing.add_argument(
        "--against",
        metavar="VERSION",
        help="only exams that were signed under this version of the knowledge",
    )
    reassessing.add_argument(
        "--from",
        dest="folder",
        metavar="FOLDER",
        help="the exams of an export (evenhand export) instead of those of the database",
    )
    reassessing.add_argument(
        "--resume",
        metavar="FILE",
        help="keep what is found in this file; the same command goes on where it was stopped",
    )
    reassessing.add_argument(
        "--json", action="store_true", help="one JSON object a line, the last one the counts"
    )
    reassessing.set_defaults(command=lambda asked: with_settings(lambda: _reassess(asked)))


class Progress:
    """A bar on standard error, drawn over itself; nothing where nobody watches.

    total: how many exams there are, None where that is not known.
    """

    def __init__(self, total: int | None) -> None:
        self.total = total
        self._is_watched = sys.stderr.isatty()

    def tell(self, seen: int) -> None:
        """Show how many of all there are were looked at."""
        if not self._is_watched:
            return
        if self.total is None:
            shown = f"{seen} exams"
        else:
            done = min(seen, self.total) * _WIDTH // max(self.total, 1)
            shown = f"[{'#' * done}{'.' * (_WIDTH - done)}] {seen} of {self.total} exams"
        print(f"\r{shown}", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Leave the line, so that what follows does not stand in it."""
        if self._is_watched:
            print(file=sys.stderr)


def _reassess(asked: argparse.Namespace) -> int:
    from app.report.data.reread import BadTable
    from app.store.registry.work_file import OtherWork

    try:
        return _of_export(asked) if asked.folder else _of_database(asked)
    except (BadTable, OtherWork) as error:
        return refused(error)


def _of_database(asked: argparse.Namespace) -> int:
    from app.store.engine import reading
    from app.store.registry.signed import signed_exams_after
    from app.store.signed_pieces import signed_under

    with database() as engine, reading(engine) as session:
        versions = signed_under(session)
        if asked.against is not None and asked.against not in versions:
            held = ", ".join(f"{version} ({count})" for version, count in versions.items())
            return refused(
                f"--against {asked.against}: no exam was signed under it; "
                f"signed are {held or 'none'}"
            )
        total = sum(versions.values()) if asked.against is None else versions[asked.against]
        # Ids say nothing of the time; what is signed while this runs is signed under the
        # knowledge in force, so that it does not matter if it is passed over.
        return _read(
            asked,
            "exams of the database",
            total,
            lambda work: signed_exams_after(session, work.seen[0], asked.against),
        )


def _of_export(asked: argparse.Namespace) -> int:
    from app.report.data.reread import exported_exams

    folder = Path(asked.folder)
    known = knowledge()

    def left(work: WorkFile) -> Iterator[AsSigned]:
        return islice(exported_exams(folder, known, asked.against), work.seen[1], None)

    return _read(asked, f"exams of {folder.resolve()}", None, left)


def _read(
    asked: argparse.Namespace,
    exams: str,
    total: int | None,
    left: Callable[[WorkFile], Iterator[AsSigned]],
) -> int:
    """Read what the work file has not seen, and tell. total: None where it is not known."""
    from app.store.registry.reassess import reassess
    from app.store.registry.work_file import work_file

    known, under = knowledge(), f"signed under {asked.against or 'any version'}"
    about = f"{exams}, {under}, read under {known.version}"
    with work_file(Path(asked.resume) if asked.resume else None, about) as work:
        progress = Progress(total)
        try:
            reassess(left(work), known, work, progress.tell)
        finally:
            progress.end()
        if asked.against is not None and not work.seen[1]:
            return refused(f"--against {asked.against}: no exam was signed under it")
        _told(work, known, as_json=asked.json)
    return OK


def _told(work: WorkFile, known: Knowledge, *, as_json: bool) -> None:
    seen, differing = work.seen[1], work.differing
    if as_json:
        for each in work.worst_first():
            print(json.dumps(asdict(each), ensure_ascii=False))
        print(json.dumps({"exams": seen, "differing": differing, "knowledge": known.version}))
        return
    for each in work.worst_first():
        print("\n".join(_lines(each, known)))
    print(
        f"{seen} signed exams, {differing or 'none'} of which would read differently under "
        f"knowledge {known.version}"
    )


def _lines(differs: Differs, known: Knowledge) -> Iterator[str]:
    signed_on = f" {differs.signed_on}" if differs.signed_on else ""
    yield f"{differs.exam_id}, signed{signed_on} under knowledge {differs.knowledge}"
    for change in differs.changes:
        now, signed = (_words(change.kind, each) for each in (change.now, change.signed))
        yield f"  {_label(change, known)}: now {now}, signed as {signed}"


def _label(change: Change, known: Knowledge) -> str:
    """What a conclusion is called; its id where this version no longer has it."""
    match change.kind:
        case "hazard" if change.id in known.hazards:
            return known.hazards[change.id].label
        case "fall_risk":
            return known.fall_risk.label
        case "category" if change.id in known.categories:
            return label_of("categories", change.id, known)
        case "warning" if change.id in known.warnings:
            return label_of("warnings", change.id, known)
        case _:
            return change.id


def _words(kind: str, result: str) -> str:
    match kind:
        case "category":
            return level_words(result)
        case "fall_risk":
            return fall_level_words(result)
        case "warning" if result != "not_raised":
            return urgency_words(result)
        case _:
            return result.replace("_", " ")
