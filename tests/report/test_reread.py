"""Exported tables read back: what an exam was, and each fault with its place."""

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from app.assess.assess import assess
from app.assess.reassessed import AsSigned, concluded
from app.cli import main
from app.exam.record import Exam, Patient
from app.knowledge.load import knowledge
from app.report.data.columns import Form, tables
from app.report.data.files import CSV_ENCODING, sinks
from app.report.data.reread import BadTable, exported_exams
from app.report.data.rows import Naming, Signed, rows_of
from app.store.signatures import hash_of
from tests.drawn import exams
from tests.registries import decided
from tests.report.signed_data import KEY, content_of

# As they stand in signed_data.WHO, on the day of the exam.
AGE, SEX = Decimal(74), "female"


def signed_drawn(count: int) -> list[Exam]:
    """Exams of that patient, drawn at random."""
    return [replace(each, patient=Patient(AGE, SEX)) for each in exams(count, seed=5)]


def exported(folder: Path, signed: list[Exam], format_: str, key: bytes | None) -> Path:
    """An export of these exams."""
    folder.mkdir()
    form = Form.IDENTIFIED if key is None else Form.REMOVED
    with sinks(folder, tables(knowledge(), form), format_) as into:
        for number, exam in enumerate(signed):
            content = content_of(exam)
            found = rows_of(
                Signed(f"{number:032x}", (content,), (hash_of(content),)), Naming(key), knowledge()
            )
            for table, rows in found.items():
                for row in rows:
                    into[table].write(row)
    return folder


def read(folder: Path, under: str | None = None) -> list[AsSigned]:
    """Every exam of an export."""
    return list(exported_exams(folder, knowledge(), under))


@pytest.mark.parametrize(("format_", "key"), [("csv", KEY), ("parquet", KEY), ("csv", None)])
def test_an_exam_comes_back_as_it_was_signed(
    tmp_path: Path, format_: str, key: bytes | None
) -> None:
    """Every value with its digits, what was concluded then, and what it gives now.

    Where identifiers are removed a line of medicines is its ingredients.
    """
    signed = signed_drawn(12)
    back = read(exported(tmp_path / "out", signed, format_, key))

    assert len(signed) == len(back)
    for exam, each in zip(signed, back, strict=True):
        assert list(exam.known()) == list(each.exam.known())
        assert {c[:2] for c in exam.untestable()} == {c[:2] for c in each.exam.untestable()}
        assert concluded(assess(exam, knowledge())) == each.concluded
        assert decided(exam, knowledge()) == decided(each.exam, knowledge())


def test_only_one_version_can_be_asked_for(tmp_path: Path) -> None:
    """Exams that were signed under another version are passed over."""
    folder = exported(tmp_path / "out", signed_drawn(2), "csv", KEY)

    assert 2 == len(read(folder, knowledge().version))
    assert [] == read(folder, "1999.9")


Edit = Callable[[list[dict[str, str]]], object]


def setting(row: int, column: str, value: str) -> Edit:
    """Change one cell; row: 0 for the first."""
    return lambda rows: rows[row].update({column: value})


@pytest.mark.parametrize(
    ("table", "edit", "says"),
    [
        ("exams", setting(1, "age", "old"), "exams.csv row 3, age: old is not a whole number"),
        ("exams", setting(0, "sex", "x"), "exams.csv row 2, sex: x is not one of female, male, "),
        (
            "exams",
            setting(0, "parkinsonism_level", "sure"),
            "exams.csv row 2, parkinsonism_level: sure is not one of ",
        ),
        ("exams", setting(0, "urgencies", "now now"), "exams.csv row 2, urgencies: now now for "),
        ("exams", setting(1, "medicines", "9"), "exams.csv row 3, medicines: 9 lines, and "),
        ("exams", setting(1, "exam", "x"), "exams.csv row 3, exam: x has no rows in findings.csv"),
        (
            "findings",
            setting(2, "finding", "aura"),
            "findings.csv row 4, finding: aura is not a finding",
        ),
        ("findings", setting(0, "side", "UP"), "findings.csv row 2, side: UP is not one of "),
        ("findings", setting(0, "state", ""), "findings.csv row 2, state: nothing is not one of "),
        ("findings", lambda rows: rows.insert(3, rows[2]), "findings.csv row 5, finding: "),
        ("findings", lambda rows: rows.append(rows[0]), "findings.csv row 432, exam: "),
        ("findings", lambda rows: rows.clear(), "exams.csv row 2, exam: "),
    ],
)
def test_a_broken_row_is_named(tmp_path: Path, table: str, edit: Edit, says: str) -> None:
    """The file, the row as an editor counts it, and the column."""
    folder = exported(tmp_path / "out", signed_drawn(2), "csv", KEY)
    _rewrite(folder / f"{table}.csv", edit)
    with pytest.raises(BadTable) as refused:
        read(folder)

    assert str(refused.value).startswith(says)


@pytest.mark.parametrize(
    ("finding", "value", "says"),
    [
        ("rest_tremor_hand", "7", "7 is not a grade from 0 to 3"),
        ("rest_tremor_hand", "", "null is not a grade from 0 to 3"),
        ("base", "huge", "huge is not one of "),
        ("walk_s", "fast", "fast is not a number"),
        ("walk_s", "5000", "5000 is not from 0.5 to 1200 s"),
        ("hx_memory", "maybe", "maybe is not one of yes, no"),
    ],
)
def test_a_value_that_could_not_be_recorded_is_named(
    tmp_path: Path, finding: str, value: str, says: str
) -> None:
    """Each kind of value is checked as on the sheet."""

    def edit(rows: list[dict[str, str]]) -> None:
        row = next(each for each in rows if each["finding"] == finding)
        row.update(state="recorded", value=value)

    folder = exported(tmp_path / "out", signed_drawn(1), "csv", KEY)
    _rewrite(folder / "findings.csv", edit)
    with pytest.raises(BadTable) as refused:
        read(folder)

    assert f", value: {says}" in str(refused.value)


def test_what_is_no_export_of_this_version_is_said(tmp_path: Path) -> None:
    """A table that is missing or there twice, a column too few, a category of other knowledge."""
    folder = exported(tmp_path / "out", signed_drawn(1), "csv", KEY)
    exams_file = folder / "exams.csv"
    held = exams_file.read_text(encoding=CSV_ENCODING)

    def refused() -> str:
        with pytest.raises(BadTable) as bad:
            read(folder)
        return str(bad.value)

    exams_file.write_text(held.replace("chorea_level", "humours_level", 1), CSV_ENCODING)
    assert "exams.csv: no column chorea_level: not an export of this version" == refused()
    exams_file.write_text(held.replace("unexplained", "humours_level", 1), CSV_ENCODING)
    assert "exams.csv, humours_level: this version does not know humours" == refused()
    exams_file.write_text(held + "one,two\n", CSV_ENCODING)
    assert "exams.csv row 3: 2 cells, and" in refused()
    (folder / "exams.parquet").write_bytes(b"PAR1")
    assert f"{folder}: exams: both as CSV and as Parquet" == refused()
    exams_file.unlink()
    assert refused().startswith("exams.parquet: ")
    (folder / "exams.parquet").unlink()
    assert f"{folder}: exams: no table of this name" == refused()


def test_the_command_reads_an_export(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Signed under the knowledge in force, nothing differs; a broken row ends it with one line."""
    folder = exported(tmp_path / "out", signed_drawn(3), "parquet", KEY)
    status = main(["reassess", "--from", str(folder), "--json"])
    whole = capsys.readouterr()
    none = main(["reassess", "--from", str(folder), "--against", "1999.9"])
    other = capsys.readouterr()
    csv_folder = exported(tmp_path / "csv", signed_drawn(3), "csv", KEY)
    _rewrite(csv_folder / "exams.csv", setting(2, "age", "old"))
    broken = main(["reassess", "--from", str(csv_folder)])
    bad = capsys.readouterr()

    assert (0, "") == (status, whole.err)
    assert {"exams": 3, "differing": 0, "knowledge": knowledge().version} == json.loads(whole.out)
    assert (2, "") == (none, other.out)
    assert "evenhand: --against 1999.9: no exam was signed under it\n" == other.err
    assert (2, "") == (broken, bad.out)
    assert "evenhand: exams.csv row 4, age: old is not a whole number\n" == bad.err


def _rewrite(file: Path, edit: Edit) -> None:
    with file.open(encoding=CSV_ENCODING, newline="") as opened:
        reader = csv.DictReader(opened)
        names, rows = list(reader.fieldnames or ()), list(reader)
    edit(rows)
    with file.open("w", encoding=CSV_ENCODING, newline="") as opened:
        writer = csv.DictWriter(opened, names)
        writer.writeheader()
        writer.writerows(rows)
