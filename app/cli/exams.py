"""Commands for single exams: list them, and write the PDF, the note and the FHIR document of one.

Who sits at the console has not signed in, so the audit names the program and says `console`.
"""

import argparse
import json
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from app.cli.opened import OK, database, put, with_settings
from app.knowledge.load import knowledge

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from app.report.page import ReportInput
    from app.store.exam_list import ListedExam
    from app.store.exams import ExamRecord
    from app.web.pages import Site

_STATES = ("open", "ready", "signed", "amended")


def add(commands: Any) -> None:
    """Add the commands."""
    listing = commands.add_parser(
        "exams",
        help="list the exams",
        description="List the exams, the one that was begun last first: id, state, when the "
        "patient was examined, chart number and name. The audit tells it. "
        "Example: evenhand exams --state signed --state amended --json",
    )
    listing.add_argument(
        "--state",
        action="append",
        choices=_STATES,
        help="only exams in this state; may be given several times",
    )
    listing.add_argument("--json", action="store_true", help="one JSON object a line")
    listing.set_defaults(command=lambda asked: with_settings(lambda: _exams(asked)))

    printing = commands.add_parser(
        "pdf",
        help="write the PDF of an exam",
        description="Write the PDF of an exam: of a signed one the very bytes that were signed, "
        "the newest where something was signed beside it; of any other a draft, with what the "
        "physician has decided so far. The audit tells it. "
        "Example: evenhand pdf 0123456789abcdef0123456789abcdef -o exam.pdf",
    )
    _names_an_exam(printing)
    printing.add_argument(
        "-o", "--output", metavar="FILE", required=True, help="a file, or - for standard output"
    )
    printing.set_defaults(command=lambda asked: with_settings(lambda: _pdf(asked)))

    noting = commands.add_parser(
        "note",
        help="print the text note of an exam",
        description="Print the text note of an exam: of a signed one as it was signed, of any "
        "other a draft. The audit tells it. "
        "Example: evenhand note 0123456789abcdef0123456789abcdef",
    )
    _names_an_exam(noting)
    noting.set_defaults(command=lambda asked: with_settings(lambda: _note(asked)))

    saying = commands.add_parser(
        "fhir",
        help="write the FHIR document of an exam",
        description="Write an exam as a FHIR R4 document: of a signed one with the signed page "
        "within, of any other a draft. The audit tells it. "
        "Example: evenhand fhir 0123456789abcdef0123456789abcdef -o exam.fhir.json",
    )
    _names_an_exam(saying)
    saying.add_argument(
        "-o", "--output", metavar="FILE", default="-", help="a file; standard output without it"
    )
    saying.set_defaults(command=lambda asked: with_settings(lambda: _fhir(asked)))


def _names_an_exam(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("exam", metavar="ID", help="the exam's id, all 32 digits")


def _exams(asked: argparse.Namespace) -> int:
    from app.store.engine import reading
    from app.store.exam_list import listed_exams

    states = tuple(dict.fromkeys(asked.state or _STATES))
    with database() as engine:
        _noted(engine, "worklist", detail={"states": list(states)})
        with reading(engine) as session:
            for each in listed_exams(session, states):
                line = json.dumps(_told(each), ensure_ascii=False) if asked.json else _line(each)
                sys.stdout.buffer.write(f"{line}\n".encode())
    sys.stdout.buffer.flush()
    return OK


def _told(each: "ListedExam") -> Mapping[str, Any]:
    who, paper = each.patient, each.on_paper
    return {
        "id": each.id,
        "state": each.state,
        "examined_at": each.examined_at.isoformat(),
        "started_at": each.started_at.isoformat(),
        "on_paper_by": None if paper is None else paper.examined_by,
        "revision": each.revision,
        "patient": {
            "chart_number": who.chart_number,
            "family_name": who.family_name,
            "given_name": who.given_name,
            "birth_date": who.birth_date.isoformat(),
            "sex": who.sex,
        },
    }


def _line(each: "ListedExam") -> str:
    who = each.patient
    examined = each.examined_at.isoformat(timespec="minutes")
    name = f"{who.family_name}, {who.given_name}"
    return f"{each.id}  {each.state:<7}  {examined}  {who.chart_number}  {name}"


def _pdf(asked: argparse.Namespace) -> int:
    from app.report.attached import attached_files
    from app.report.pdf import pdf
    from app.report.signed import SIGNED_STATES
    from app.store.engine import reading
    from app.store.signatures import document, signatures

    with database() as engine:
        held = _held(engine, asked.exam)
        if held.state in SIGNED_STATES:
            with reading(engine) as session:
                content = document(
                    session, signatures(session, held.id)[-1].document_sha256
                ).content
        else:
            draft = _draft(engine, held)
            content = pdf(draft, knowledge(), attached_files(draft, knowledge()))
        _noted(engine, "print", held)
    put(asked.output, content)
    return OK


def _note(asked: argparse.Namespace) -> int:
    from app.report.note import text_note
    from app.report.signed import SIGNED_STATES
    from app.store.engine import reading
    from app.store.signatures import signatures
    from app.store.signed_content import note_of

    with database() as engine:
        held = _held(engine, asked.exam)
        if held.state in SIGNED_STATES:
            with reading(engine) as session:
                text = note_of(signatures(session, held.id)[-1])
        else:
            text = text_note(_draft(engine, held), knowledge())
        _noted(engine, "note", held)
    put("-", text.encode())
    return OK


def _fhir(asked: argparse.Namespace) -> int:
    from datetime import UTC, datetime

    from app.store.engine import reading
    from app.web.fhir import document_of

    with database() as engine:
        held = _held(engine, asked.exam)
        with reading(engine) as session:
            made = document_of(session, held.id, _site(), now=datetime.now(UTC))
        _noted(engine, "fhir", held)
    put(asked.output, made)
    return OK


def _held(engine: "Engine", exam_id: str) -> "ExamRecord":
    from app.store.engine import reading
    from app.store.exams import exam_record

    with reading(engine) as session:
        return exam_record(session, exam_id)


def _draft(engine: "Engine", held: "ExamRecord") -> "ReportInput":
    """An exam that is not signed, with what was decided so far."""
    from datetime import UTC, datetime

    from app.store.engine import reading
    from app.web.documents import draft_for_console

    with reading(engine) as session:
        return draft_for_console(session, held, _site(), datetime.now(UTC))


def _site() -> "Site":
    """The installation, as the environment names it."""
    from app.settings import Settings
    from app.web.pages import Site

    settings = Settings()
    return Site(
        settings.clinic,
        settings.demo,
        settings.plain_http,
        document_type=settings.fhir_document_type,
    )


def _noted(
    engine: "Engine",
    action: str,
    held: "ExamRecord | None" = None,
    detail: Mapping[str, Any] | None = None,
) -> None:
    """Note what is shown, before it is shown."""
    from datetime import UTC, datetime

    from app.store.audit import note
    from app.store.engine import writing
    from app.web.console_code import AT_CONSOLE

    now = datetime.now(UTC)
    with writing(engine) as session:
        if held is None:
            note(session, AT_CONSOLE, action, at=now, detail=detail)
        else:
            note(
                session,
                AT_CONSOLE,
                action,
                at=now,
                patient_id=held.patient.id,
                exam_id=held.id,
                detail={"revision": held.revision},
            )
