"""The clinic's own data from the console: exported, imported, listed and printed."""

import base64
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from sqlalchemy import Engine, text
from sqlmodel import col, select

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.cli import main
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.alerts import alerts
from app.store.audit_tables import AuditRow
from app.store.engine import make_engine, reading
from app.store.exam_list import listed_exams
from app.store.exams import exam_record
from app.store.signatures import document
from app.store.verify import verify
from tests.report.signed_data import read_csv
from tests.store.clinic import an_exam, stored, write
from tests.store.desk import (
    ADDENDUM,
    a_reviewed_exam,
    amended,
    pieces_of,
    signed,
    to_amend,
    to_sign,
)
from tests.store.people import an_account
from tests.store.test_migrations import changing
from tests.store.test_verify import tampered

NOBODY = "0" * 32
Said = tuple[int, str, str]


@pytest.fixture
def engine(url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Engine]:
    """A database that the commands find by their settings."""
    monkeypatch.setenv("EVENHAND_DATABASE_URL", url)
    made = make_engine(url)
    yield made
    made.dispose()


@pytest.fixture
def run(engine: Engine, capfdbinary: pytest.CaptureFixture[bytes]) -> Callable[..., Said]:
    """Run a command; its status, and what it said on standard output and on standard error."""

    def run(*arguments: str) -> Said:
        capfdbinary.readouterr()
        status = main(arguments)
        told = capfdbinary.readouterr()
        return status, told.out.decode(), told.err.decode()

    return run


def a_signed_exam(engine: Engine) -> str:
    """A signed exam, with what it really added up to."""
    exam = a_reviewed_exam(engine)
    found = as_text(assess(exam.exam, knowledge()))
    version = knowledge().version
    prepared = to_sign(engine, exam.id, assessment=found, knowledge=version)
    signed(engine, exam.id, prepared, version)
    return exam.id


def acts(engine: Engine, *actions: str) -> list[tuple[str, str, str, dict[str, Any]]]:
    """What the audit tells of these: action, who, from where, and the facts."""
    with reading(engine) as session:
        asked = select(AuditRow).where(col(AuditRow.action).in_(actions))
        return [
            (row.action, row.name, row.source, json.loads(row.detail))
            for row in session.exec(asked.order_by(col(AuditRow.number)))
        ]


def untouched(engine: Engine) -> bool:
    """Whether the audit and all that it speaks of still verify."""
    with reading(engine) as session:
        return verify(session).alterations == ()


def test_what_was_signed_is_what_leaves(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """Signed exams with what stands beside them; nothing of an open one, and no later name."""
    exam_id = a_signed_exam(engine)
    amended(engine, exam_id, to_amend(engine, exam_id, ADDENDUM))
    write(engine, an_exam(engine, chart_number="T-2").id, {("drift", Side.LEFT): 3}, 0)
    with changing(engine) as connection:
        connection.execute(text("UPDATE patient SET family_name = 'Renamed'"))
    folder = tmp_path / "out"
    status, out, err = run("export", "--to", str(folder), "--identified")
    (exam,), (amendment,) = read_csv(folder / "exams.csv"), read_csv(folder / "amendments.csv")
    drift = {
        row["side"]: (row["state"], row["value"], row["number"])
        for row in read_csv(folder / "findings.csv")
        if row["finding"] == "drift"
    }

    assert (0, "") == (status, err)
    assert f"{folder}: 1 signed exams" in out
    assert (exam_id, "amended", "1", "Mustermann", "A slow hand.") == (
        exam["exam"], exam["state"], exam["amendments"], exam["family_name"], exam["impression"],
    )  # fmt: skip
    assert (exam_id, "addendum", ADDENDUM.text) == (
        amendment["exam"], amendment["kind"], amendment["text"],
    )  # fmt: skip
    assert {"RIGHT": ("recorded", "1", "1"), "LEFT": ("recorded", "0", "0")} == drift
    assert {"exams.csv", "findings.csv", "medicines.csv", "amendments.csv", "dictionary.csv",
            "README.txt"} == {file.name for file in folder.iterdir()}  # fmt: skip
    assert (0o700, "THESE FILES NAME PATIENTS" in (folder / "README.txt").read_text()) == (
        folder.stat().st_mode & 0o777, True,
    )  # fmt: skip
    (act,) = acts(engine, "export")
    assert ("export", "Evenhand", "console", "identified", 1) == (
        *act[:3], act[3]["kind"], act[3]["exams"],
    )  # fmt: skip
    assert "Mustermann" not in str(act)
    assert untouched(engine)


def test_a_made_up_name_lasts_from_one_export_to_the_next(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """The key stays in the database, where no page shows it; another key makes other names."""
    a_signed_exam(engine)
    own = tmp_path / "key"
    own.write_text("thirty-two characters, or a few more\n")
    told = []
    for number, more in enumerate(([], [], ["--key-file", str(own)])):
        folder = tmp_path / str(number)
        assert 0 == run("export", "--to", str(folder), "--format", "parquet", *more)[0]
        told.append(pq.read_table(folder / "exams.parquet")["patient"].to_pylist())

    assert told[0] == told[1] != told[2]
    assert 1 == sum(detail == {"names": ["export_key"]} for *_, detail in acts(engine, "setting"))
    assert untouched(engine)


def test_an_export_is_whole_or_not_there(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """Each refusal is one line, and leaves nothing behind; a full folder is left as it is."""
    a_signed_exam(engine)
    (full := tmp_path / "full").mkdir()
    (full / "mine.txt").write_text("mine")
    (short := tmp_path / "short").write_text("abc")
    for arguments, says in (
        (["--to", str(full)], "is not empty"),
        (["--to", str(short)], "is not a folder"),
        (["--to", str(tmp_path / "none" / "out")], "No such file or directory"),
        (["--to", str(tmp_path / "out"), "--key-file", str(short)], "at least 32 characters"),
        (["--to", str(tmp_path / "out"), "--key-file", str(tmp_path / "no")], "No such file"),
    ):
        status, out, err = run("export", *arguments)
        assert (2, "", 1) == (status, out, err.count("\n")), arguments
        assert says in err
    assert [] == acts(engine, "export")
    tampered(engine, "signature", "UPDATE signature SET content = content || ' '")
    status, out, err = run("export", "--to", str(tmp_path / "out"))

    assert (2, "", 1) == (status, out, err.count("\n"))
    assert "was altered after it was signed" in err
    assert {"full", "short"} == {each.name for each in tmp_path.iterdir()} - {"evenhand.db"} - {
        each.name for each in tmp_path.glob("evenhand.db-*")
    }
    assert ["mine.txt"] == [each.name for each in full.iterdir()]
    assert [] == acts(engine, "export")


# ---------------------------------------------------------------- import


def line(**changed: Any) -> dict[str, Any]:
    """One exam to be imported, as another program would write it."""
    told = {
        "patient": {"chart_number": "A-17", "family_name": "Ozturk", "given_name": "Selin",
                    "birth_date": "1948-09-30", "sex": "female"},
        "examined_at": "2025-11-03T14:10+01:00",
        "examined_by": "Dr Runa Eide",
        "reason": "Falls",
        "exam": {"patient": {"age": 77}, "medicines": ["metoclopramide 10 mg"],
                 "findings": {"drift": {"right": 2, "left": {"untestable": "a cast"}},
                              "walk_s": 5.60}},
    }  # fmt: skip
    return told | changed


def file_of(folder: Path, *lines: Any) -> str:
    """A file of these lines."""
    file = folder / "exams.ndjson"
    told = (each if isinstance(each, str) else json.dumps(each) for each in lines)
    file.write_text("".join(f"{each}\n" for each in told), encoding="utf-8")
    return str(file)


def imported(engine: Engine) -> list[str]:
    """The exams that are there."""
    with reading(engine) as session:
        return [each.id for each in listed_exams(session)]


def test_an_import_arrives_as_open_exams_that_were_entered_later(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """Under the account that is named, never signed; the exam keeps its own time and examiner.

    The second exam of a patient belongs to the same patient, and an emergency waits for a
    physician as it does from the sheet.
    """
    whose = an_account(engine, "per", "physician")
    again = line(examined_at="2025-12-01T09:00+00:00", exam={"findings": {"hx_onset": "sudden",
                 "weak_leg": {"right": 2, "left": 2}, "hx_bladder": "retention"}})  # fmt: skip
    file = file_of(tmp_path, line(), again)
    checked = run("import", file, "--by", "PER", "--check")
    assert (0, "2 exams can be taken in; nothing was; 1 new patients\n", "") == checked
    assert [] == imported(engine)
    assert [] == acts(engine, "start", "add_patient", "import")
    status, out, err = run("import", file, "--by", "per")
    ids = imported(engine)
    exams = sorted((stored(engine, each) for each in ids), key=lambda each: each.examined_at)
    with reading(engine) as session:
        waiting = alerts(session)

    assert (0, "2 exams taken in, open and unsigned; 1 new patients\n", "") == (status, out, err)
    assert ["open", "open"] == [each.state for each in exams]
    assert {whose.printed_name} == {each.started_by for each in exams}
    assert 1 == len({each.patient.id for each in exams})
    first = exams[0]
    assert first.on_paper is not None
    assert (datetime(2025, 11, 3, 13, 10, tzinfo=UTC), "Dr Runa Eide") == (
        first.on_paper.examined_at, first.on_paper.examined_by,
    )  # fmt: skip
    assert line()["exam"]["findings"] == json.loads(json.dumps(_findings(engine, first.id)))
    assert ("metoclopramide 10 mg",) == first.exam.medicines
    assert [exams[1].id] == [each.exam_id for each in waiting]
    told = acts(engine, "add_patient", "start", "import")
    assert [("add_patient", 1), ("start", 2), ("import", 1)] == [
        (action, sum(each[0] == action for each in told))
        for action in ("add_patient", "start", "import")
    ]
    assert {(whose.printed_name, "console")} == {each[1:3] for each in told}
    assert {"exams": 2, "new_patients": 1} == told[-1][3]
    assert untouched(engine)


def _findings(engine: Engine, exam_id: str) -> dict[str, Any]:
    from app.exam.writing import exam_as_json

    with reading(engine) as session:
        found: dict[str, Any] = exam_as_json(exam_record(session, exam_id).exam)["findings"]
    return found


def test_the_same_line_twice_is_refused(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """A patient has one exam at one time: within a file, and from one file to the next."""
    an_account(engine, "per", "physician")
    elsewhere = line(examined_at="2025-11-03T13:10Z", reason="Written otherwise")
    within = run("import", file_of(tmp_path, line(), elsewhere), "--by", "per")
    assert 0 == run("import", file_of(tmp_path, line()), "--by", "per")[0]
    (there,) = imported(engine)
    later = run("import", file_of(tmp_path, elsewhere), "--by", "per")

    assert (
        2, "", "line 2: examined_at: the same patient at the same time as in line 1\n",
    ) == within  # fmt: skip
    assert (
        2, "",
        f"line 1: examined_at: this patient has an exam of this very time already: {there}\n",
    ) == later  # fmt: skip
    assert [there] == imported(engine)


def test_every_fault_of_every_line_is_told_and_nothing_is_taken_in(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """Half an import is worse than none, and a fault at a time takes a day."""
    an_account(engine, "ngozi", "nurse")
    an_account(engine, "ada", "administrator")
    person = line()["patient"]
    nurse = line(exam={"findings": {"hx_falls_12m": 1}})
    an_exam(engine, chart_number="T-1")
    file = file_of(
        tmp_path,
        nurse,
        "{oops",
        "",
        "[]",
        nurse | {"patient": person | {"birth_date": "1948-13-01", "chart_number": 17, "age": 77}},
        nurse | {"examined_at": "2025-11-03T14:10", "examined_by": None, "who": "me"},
        nurse | {"examined_at": "2999-01-01T00:00Z"},
        nurse | {"examined_at": "1948-01-01T00:00Z"},
        nurse | {"exam": {"findings": {"hx_falls_12m": -1, "nonsense": 1},
                          "patient": {"age": "x"}}},
        nurse | {"exam": {}, "reason": 5},
        line(),
        nurse | {"examined_at": "2025-11-04T14:10Z",
                 "exam": {"patient": {"age": 60, "sex": "male"}, "medicines": []}},
        nurse | {"patient": person | {"chart_number": "t-1"}},
        nurse | {"examined_at": "2025-11-05T14:10Z", "patient": person | {"given_name": "Leyla"}},
        '{"exam": {}, "exam": {}}',
    )  # fmt: skip
    status, out, err = run("import", file, "--by", "ngozi")
    told = err.splitlines()

    assert (2, "") == (status, out)
    assert [
        (
            "line 2: the line: not JSON: Expecting property name enclosed in double quotes "
            "(line 1 column 2)"
        ),
        "line 3: empty",
        "line 4: not an object with patient, examined_at, examined_by, reason, exam",
        "line 5: patient.age: unknown; use chart_number, family_name, given_name, birth_date, sex",
        "line 5: patient.chart_number: 17 is not text",
        "line 5: patient.birth_date: the birth date is not a date: write it as 1950-12-31",
        "line 6: who: unknown; use patient, examined_at, examined_by, reason, exam",
        "line 6: examined_at: not a time with its offset from UTC, as in 2026-03-04T14:10+01:00",
        "line 6: examined_by: is missing",
        "line 7: examined_at: lies in the future",
        "line 8: examined_at: lies before the birth of the patient",
        "line 9: exam.patient.age: x is not an age in years from 0 to 120",
        "line 9: exam.findings.hx_falls_12m: -1 is not from 0 to 1000 falls in 12 months",
        "line 9: exam.findings.nonsense: not a finding",
        "line 10: reason: is not text",
        "line 10: exam: nothing was examined",
        "line 11: exam.findings.drift: this account may not record it",
        "line 12: exam.patient.age: 60, and 77 by birth_date and examined_at",
        "line 12: exam.patient.sex: male, and not so in patient.sex",
        "line 13: patient.family_name: another one has this chart number",
        "line 13: patient.given_name: another one has this chart number",
        "line 13: patient.birth_date: another one has this chart number",
        "line 14: patient.given_name: another one has this chart number; compare line 1",
        "line 15: the line: the key exam stands twice in one object",
    ] == told
    assert 1 == len(imported(engine))
    for by in ("ada", "nobody"):
        assert (
            2, "", "evenhand: no nurse or physician who may sign in has this sign-in name\n",
        ) == run("import", file, "--by", by)  # fmt: skip
    assert 2 == run("import", str(tmp_path / "no.ndjson"), "--by", "ngozi")[0]


# ---------------------------------------------------------------- single exams


def test_exams_are_listed_and_a_signed_one_is_given_as_it_was_signed(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """The stored bytes and the stored note; the audit says that the console had them."""
    exam_id, file = a_signed_exam(engine), tmp_path / "exam.pdf"
    open_id = an_exam(engine, chart_number="T-2").id
    (piece,) = pieces_of(engine, exam_id)
    with reading(engine) as session:
        kept = document(session, piece.document_sha256).content
    status, out, _ = run("exams", "--state", "signed", "--json")
    everything = run("exams")[1]

    assert 0 == status
    assert [(exam_id, "signed", "T-1")] == [
        (told["id"], told["state"], told["patient"]["chart_number"])
        for told in map(json.loads, out.splitlines())
    ]
    assert [True, True] == [each in everything for each in (exam_id, open_id)]
    assert (0, "", "") == run("pdf", exam_id, "-o", str(file))
    assert (kept, 0o600) == (file.read_bytes(), file.stat().st_mode & 0o777)
    assert (0, piece.note, "") == run("note", exam_id)
    status, bundle, _ = run("fhir", exam_id)
    assert (0, "document") == (status, json.loads(bundle)["type"])
    assert base64.b64encode(kept).decode() in bundle
    assert [
        ("worklist", "Evenhand", "console"), ("worklist", "Evenhand", "console"),
        ("print", "Evenhand", "console"), ("note", "Evenhand", "console"),
        ("fhir", "Evenhand", "console"),
    ] == [each[:3] for each in acts(engine, "worklist", "print", "note", "fhir")]  # fmt: skip
    assert untouched(engine)


def test_what_is_wrong_is_one_line_and_writes_nothing(
    engine: Engine, run: Callable[..., Said], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An unknown exam, a folder that is not there, and no database."""
    exam_id = a_signed_exam(engine)
    before = {each.name for each in tmp_path.iterdir()}
    file = str(tmp_path / "exam.pdf")
    for arguments, says in (
        (["pdf", NOBODY, "-o", file], "there is no such exam"),
        (["pdf", "x", "-o", file], "there is no such exam"),
        (["note", NOBODY], "there is no such exam"),
        (["fhir", NOBODY, "-o", file], "there is no such exam"),
        (["pdf", exam_id, "-o", str(tmp_path / "no" / "exam.pdf")], "No such file or directory"),
        (["pdf", exam_id, "-o", str(tmp_path)], "is a folder"),
    ):
        status, out, err = run(*arguments)
        assert (2, "", 1) == (status, out, err.count("\n")), arguments
        assert says in err
    monkeypatch.setenv("EVENHAND_DATABASE_URL", f"sqlite:///{tmp_path / 'typo.db'}")
    for arguments in (["exams"], ["note", exam_id], ["export", "--to", str(tmp_path / "out")]):
        status, out, err = run(*arguments)
        assert (2, "") == (status, out)
        assert f"evenhand: there is no database at {tmp_path / 'typo.db'}\n" == err
    assert before == {each.name for each in tmp_path.iterdir()}


@pytest.mark.parametrize("kind", ["sqlite"])
def test_an_exam_that_is_not_signed_is_given_as_a_draft(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """It says DRAFT first, on paper and as text."""
    exam = an_exam(engine)
    write(engine, exam.id, {("drift", Side.RIGHT): 2}, 0)
    file = tmp_path / "draft.pdf"
    assert (0, "", "") == run("pdf", exam.id, "-o", str(file))
    status, out, _ = run("note", exam.id)

    assert b"%PDF-" == file.read_bytes()[:5]
    assert (0, "DRAFT") == (status, out[:5])


@pytest.mark.parametrize(
    "command",
    ["serve", "first-code", "invite", "assess", "paper", "exams", "pdf", "note", "fhir", "export",
     "import", "verify"],
)  # fmt: skip
def test_the_help_of_each_command_has_an_example(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Somebody who was sent here by a line in a guide wants to see one."""
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])

    assert 0 == ended.value.code
    assert f"Example: evenhand {command}" in " ".join(capsys.readouterr().out.split())


def test_assessing_brings_in_neither_pages_nor_database_nor_tables() -> None:
    """It is run for one exam after the other, and starts each time."""
    program = (
        "import sys; from app.cli import main; status = main(['assess', '-']); "
        "print(sorted({'fastapi', 'sqlalchemy', 'pyarrow', 'weasyprint', 'pydantic_settings'} "
        "& set(sys.modules)), file=sys.stderr); sys.exit(status)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], input=b"{}", capture_output=True, check=False
    )

    assert (0, b"[]\n") == (done.returncode, done.stderr)
