"""Signed exams as tables: what was signed, on its side, and nobody's name where none is wanted."""

import json
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings

from app.assess.assess import assess
from app.exam.reading import read_exam
from app.exam.record import Cell, Exam, Recorded, Untestable
from app.exam.vocabulary import Scale, Side, vocabulary
from app.knowledge.load import knowledge
from app.report.data.columns import Form, tables
from app.report.data.dictionary import dictionary_rows
from app.report.data.files import csv_cell
from app.report.data.rows import BadContent
from app.store.on_paper import OnPaper
from app.store.signatures import hash_of
from tests.report.drawn import exams
from tests.report.samples import one_sided_exam
from tests.report.signed_data import (
    ACCOUNT_ID,
    BEGUN,
    EXAM_ID,
    KEY,
    PATIENT_ID,
    WHO,
    content_of,
    read_csv,
    rows,
    written,
)

# Everything of one exam that says who it is, or that somebody typed.
TYPED = {
    "why": "wrist in plaster since Tuesday",
    "medicine": "metoclopramide 10 mg for Mrs O.",
    "impression": "Told by her son Henrik",
    "plan": "Ring the daughter in Bodø",
    "for_patient": "Henrik keeps your tablets",
    "text": "The neurologist in Tromsø rang",
    "because": "a letter that came on Friday",
    "examined_by": "Nurse Aino Koskela",
}
AMENDED = json.dumps(
    {
        "kind": "addendum", "number": 1, "after": [], "text": TYPED["text"],
        "reason": TYPED["because"], "signed_at": BEGUN.isoformat(), "meaning": "signed",
        "signer": {"account_id": ACCOUNT_ID, "name": "Dr Per Prøve", "role": "physician"},
    }
)  # fmt: skip
TELLING = read_exam(
    {
        "findings": {
            "drift": {"right": 2, "left": {"untestable": TYPED["why"]}},
            "tug_s": Decimal("12.40"),
        },
        "medicines": [TYPED["medicine"]],
    }
)


def telling(born: date = WHO.birth_date) -> str:
    """The signed content of an exam that tells a lot about a person."""
    return content_of(
        TELLING,
        replace(WHO, birth_date=born),
        OnPaper(datetime(2026, 3, 2, 8, 15, tzinfo=BEGUN.tzinfo), TYPED["examined_by"]),
        {("impression", ""): TYPED["impression"], ("plan", ""): TYPED["plan"],
         ("for_patient", ""): TYPED["for_patient"],
         ("code", "R25.1"): True, ("code", "R26.89"): None},
    )  # fmt: skip


def cells_in(found: list[dict[str, Any]]) -> dict[Cell, Recorded]:
    """The exam that a table of findings holds, read without any function of the export."""
    cells: dict[Cell, Recorded] = {}
    for row in found:
        cell = row["finding"], Side(row["side"].lower()) if row["side"] else None
        scale = vocabulary()[row["finding"]].scale
        if row["state"] == "untestable":
            cells[cell] = Untestable(row["reason"])
        elif row["state"] == "recorded":
            text = row["value"]
            match scale:
                case Scale.GRADE | Scale.COUNT:
                    cells[cell] = int(text)
                case Scale.NUMBER:
                    cells[cell] = Decimal(text)
                case Scale.YESNO:
                    cells[cell] = {"yes": True, "no": False}[text]
                case _:
                    cells[cell] = text
    return cells


@settings(max_examples=6)
@given(exams())
def test_the_findings_are_the_exam_in_both_formats(exam: Exam) -> None:
    """Every cell has its row, and what was not examined says so."""
    with TemporaryDirectory() as place:
        for format_ in ("csv", "parquet"):
            written(Path(place), content_of(exam), format_=format_)
        as_csv = read_csv(Path(place) / "findings.csv")
        as_parquet = pq.read_table(Path(place) / "findings.parquet").to_pylist()

    everything = sum(len(finding.sides) for finding in vocabulary().values())
    assert [everything] * 2 == [len(as_csv), len(as_parquet)]
    for found in (as_csv, as_parquet):
        assert dict(exam.cells) == cells_in(found)
        assert everything - len(exam.cells) == sum(
            row["state"] == "not examined" and not row["value"] for row in found
        )


@settings(max_examples=4)
@given(exams())
def test_changing_the_sides_over_changes_exactly_the_sides(exam: Exam) -> None:
    """A tremor of the right hand that arrives in a table as the left one's is a wrong record."""
    other = {"RIGHT": "LEFT", "LEFT": "RIGHT"}

    def turned(row: dict[str, str]) -> dict[str, str]:
        """A row whose sides stand for the other ones."""
        return {
            name: other.get(value, value)
            if name == "side" or name.endswith("_side")
            else " ".join(
                ":".join(other.get(part, part) for part in each.split(":"))
                for each in value.split(" ")
            )
            for name, value in row.items()
        }

    with TemporaryDirectory() as place:
        as_is, mirrored = Path(place) / "as_is", Path(place) / "mirrored"
        for folder, each in ((as_is, exam), (mirrored, exam.mirrored())):
            folder.mkdir()
            written(folder, content_of(each))
        plain = {name: read_csv(as_is / f"{name}.csv") for name in ("exams", "findings")}
        turned_back = {
            name: [turned(row) for row in read_csv(mirrored / f"{name}.csv")] for name in plain
        }
        medicines = [(folder / "medicines.csv").read_bytes() for folder in (as_is, mirrored)]

    def in_order(found: list[dict[str, str]]) -> list[tuple[str, ...]]:
        """Rows without the hash of the whole, in an order of their own."""
        kept = ({k: v for k, v in row.items() if k != "content_sha256"} for row in found)
        return sorted(tuple(row.values()) for row in kept)

    assert in_order(plain["exams"]) == in_order(turned_back["exams"])
    assert in_order(plain["findings"]) == in_order(turned_back["findings"])
    assert medicines[0] == medicines[1]


def test_one_row_tells_what_the_exam_added_up_to() -> None:
    """The pattern with its side in full, as the panel said it; nothing that was not listed."""
    (exam,) = rows(content_of(one_sided_exam()))["exams"]
    told = assess(one_sided_exam(), knowledge()).as_json()
    parkinsonism = next(each for each in told["categories"] if each["id"] == "parkinsonism")
    falls = next(each for each in told["warnings"] if each["id"] == "fall_risk")

    assert "left" == parkinsonism["side"]
    assert (parkinsonism["level"], "LEFT") == (
        exam["parkinsonism_level"],
        exam["parkinsonism_side"],
    )
    assert falls["level"] == exam["fall_level"]
    assert [each["id"] for each in told["warnings"] if each is not falls] == str(
        exam["warnings"]
    ).split()
    assert ("not_listed", None) == (exam["chorea_level"], exam["chorea_side"])
    assert "2026.1" == exam["knowledge"]
    assert "2026-03" == exam["examined_month"]


@pytest.mark.parametrize("format_", ["csv", "parquet"])
def test_where_identifiers_are_removed_nothing_of_them_is_left(
    tmp_path: Path, format_: str
) -> None:
    """No name, number, date, id, hash or anything typed, in any table."""
    content = telling()
    written(tmp_path, content, AMENDED, key=KEY, format_=format_)
    if format_ == "csv":
        told = "\n".join(file.read_text("utf-8-sig") for file in tmp_path.iterdir())
    else:
        told = "\n".join(str(pq.read_table(file).to_pylist()) for file in tmp_path.iterdir())
    # In the form with names each of them is there, so that this test could fail.
    (with_names := tmp_path / "named").mkdir()
    written(with_names, content, AMENDED)
    named = "\n".join(file.read_text("utf-8-sig") for file in with_names.iterdir())
    secret = {
        WHO.chart_number, WHO.family_name, WHO.given_name, "1951-07-23", PATIENT_ID, EXAM_ID,
        "Per Prøve", "Ngozi", "Shakes at the till", "2026-03-04", "2026-03-02",
        hash_of(content), hash_of(AMENDED), *TYPED.values(),
    }  # fmt: skip

    assert set() == {each for each in secret if each not in named}
    assert set() == {each for each in (*secret, ACCOUNT_ID, "09:30", "08:15") if each in told}
    assert "metoclopramide" in told
    assert "R25.1" in told
    assert "R26.89" not in told


@pytest.mark.parametrize(
    ("born", "age", "removed"),
    [(date(1936, 3, 3), 89, 89), (date(1936, 3, 2), 90, 90), (date(1917, 1, 1), 109, 90)],
)
def test_ninety_and_more_is_one_group(born: date, age: int, removed: int) -> None:
    """There are few of them, so an exact age tells who it is; ages as of the day of the exam.

    Source: 45 CFR 164.514(b)(2)(i)(C), ages over 89 in one category of 90 or older (from memory).
    """
    content = telling(born)
    ages = [rows(content, key=key)["exams"][0]["age"] for key in (None, KEY)]

    assert [age, removed] == ages


def test_a_made_up_name_is_the_same_for_the_same_key_alone() -> None:
    """So that exams of one patient belong together, and nobody can work out whose they are."""

    def names(key: bytes, patient: str = PATIENT_ID) -> tuple[Any, Any]:
        (row,) = rows(content_of(Exam(), replace(WHO, id=patient)), key=key)["exams"]
        return row["patient"], row["exam"]

    assert names(KEY) == names(KEY)
    assert names(KEY)[0] != names(KEY, "0d" * 16)[0]
    assert names(KEY)[1] == names(KEY, "0d" * 16)[1]
    assert set(names(KEY)).isdisjoint(names(KEY + b"2"))
    assert 2 == len(set(names(KEY)))


# OWASP ASVS 5.0, 1.2.10: = + - @, tab and null at the beginning of a cell are defused by an
# apostrophe; CWE-1236 says the same of the first four.
@pytest.mark.parametrize(
    ("typed", "cell"),
    [
        ("=HYPERLINK(0)", "'=HYPERLINK(0)"),
        ("+47 22 00 00", "'+47 22 00 00"),
        ("-2+3", "'-2+3"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        ("\0x", "'\0x"),
        ("  =1", "'  =1"),
        ("＝1", "'＝1"),
        ("pain;=1+1", "pain;'=1+1"),
        ("first\n-second", "first\n'-second"),
        ("-5", "-5"),
        ("-5.25", "-5.25"),
        ("a = b", "a = b"),
        ("well-known", "well-known"),
        (Decimal("-0.5"), "-0.5"),
        (-3, "-3"),
        (True, "yes"),
        (None, ""),
    ],
)
def test_no_cell_is_a_formula_and_a_number_stays_a_number(typed: Any, cell: str) -> None:
    """A spreadsheet runs what begins so, with the rights of whoever opens it."""
    assert cell == csv_cell(typed)


def test_what_is_typed_stays_text_in_its_cell(tmp_path: Path) -> None:
    """Separators, quotes, line ends and other alphabets; Parquet has it to the letter."""
    nasty = '=1+1,"x"\r\n<b>Σ 李 \u0301e</b>'
    content = content_of(Exam(), decided={("plan", ""): nasty})
    for format_ in ("csv", "parquet"):
        written(tmp_path, content, format_=format_)
    (row,) = read_csv(tmp_path / "exams.csv")

    assert f"'{nasty}" == row["plan"]
    assert [nasty] == pq.read_table(tmp_path / "exams.parquet")["plan"].to_pylist()
    assert b"\xef\xbb\xbfexam," == (tmp_path / "exams.csv").read_bytes()[:8]


@pytest.mark.parametrize("form", list(Form))
def test_the_dictionary_names_each_column_and_each_finding(form: Form) -> None:
    """A column that nobody explains is misread."""
    told = [(row["table"], row["name"]) for row in dictionary_rows(knowledge(), form)]
    columns = [
        (table.name, column.name) for table in tables(knowledge(), form) for column in table.columns
    ]

    assert [*columns, *(("finding", each) for each in vocabulary())] == told
    assert len(set(told)) == len(told)
    assert all(row["meaning"] for row in dictionary_rows(knowledge(), form))


def test_every_cell_has_a_column_and_every_column_is_filled() -> None:
    """A column that no row fills, or a value that no column takes, is lost unseen."""
    found = rows(telling(), AMENDED)
    for table in tables(knowledge(), Form.IDENTIFIED):
        filled = {name for row in found[table.name] for name in row}
        assert {column.name for column in table.columns} == filled | {"exam"}, table.name


def test_a_cleared_cell_was_not_examined() -> None:
    """It was recorded and taken away again; the signed content tells both."""
    content = json.loads(content_of(TELLING))
    for entry in content["entries"]:
        entry["value"] = None
    states = {row["state"] for row in rows(json.dumps(content))["findings"]}

    assert {"not examined"} == states


def test_a_finding_that_is_not_known_is_told_and_not_left_out() -> None:
    """Of a database that a newer version has written."""
    content = json.loads(content_of(TELLING))
    content["entries"][0]["finding"] = "finding_of_2031"
    with pytest.raises(BadContent, match=rf"exam {EXAM_ID}.*finding_of_2031"):
        rows(json.dumps(content))
