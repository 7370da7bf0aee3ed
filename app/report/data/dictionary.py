"""What every column means: as a table beside the export, as its README, and as a document."""

from collections.abc import Iterator

from app.exam.vocabulary import GRADE_WORDS, GRADES, Finding, Scale, vocabulary
from app.knowledge.load import Knowledge
from app.report.data.columns import Column, Form, Kind, Table, tables
from app.report.data.rows import Row

_REMOVED = (
    (
        "Identifiers are removed: there is no name, chart number or birth date, no text "
        "that somebody typed, no id of an account, and of the time of an exam only its "
        "month. An age of 90 or more stands as 90. Patients and exams have made-up names "
        "from a keyed hash: the same patient has the same name in every export with the "
        "same key, and whoever holds the key and the database can lead each name back."
    ),
    (
        "THIS IS NOT ANONYMISATION. Somebody who knows that a person was examined in some"
        " month, and what was found, may find the row. Rare findings, a rare age, or "
        "several exams of one patient make it easier; two exams around a birthday narrow "
        "the birth date down. Treat the files as patient data, give them to as few people"
        " as you can, and do not publish them."
    ),
)
_IDENTIFIED = (
    (
        "THESE FILES NAME PATIENTS. They hold everything that stands in the charts: keep "
        "them as you keep charts, and delete them when they are no longer needed."
    ),
)
_OF_THE_FILES = (
    (
        "Values are those that were signed, read from the signed content and not from "
        "what stands in the database now. Unknown is not normal: a finding without a "
        "value was not examined, or could not be tested."
    ),
    (
        "CSV files are UTF-8 with a byte order mark, so that spreadsheets read them as "
        "such; cells are parted by commas, and an empty cell holds nothing. A text that a"
        " spreadsheet would take for a formula has an apostrophe before the sign that "
        "would make it one. Parquet files hold texts as they are."
    ),
)


def dictionary_table() -> Table:
    """The table that explains the others."""

    def column(name: str, meaning: str) -> Column:
        return Column(name, Kind.TEXT, meaning)

    return Table(
        "dictionary",
        "One row for each column of each table, and for each finding",
        (
            column("table", "The table; `finding` for a finding"),
            column("name", "The column, or the finding's id"),
            column("type", "What a cell holds"),
            column("meaning", "What it means"),
            column("unit", "The unit"),
            column("values", "What it can hold, parted by semicolons"),
        ),
    )


def dictionary_rows(knowledge: Knowledge, form: Form) -> Iterator[Row]:
    """The rows of the dictionary of one form."""
    for table in tables(knowledge, form):
        for column in table.columns:
            yield {
                "table": table.name,
                "name": column.name,
                "type": column.kind.value,
                "meaning": column.meaning,
                "unit": column.unit or None,
                "values": "; ".join(column.values) or None,
            }
    for finding in vocabulary().values():
        yield {
            "table": "finding",
            "name": finding.id,
            "type": finding.scale.value,
            "meaning": _meaning(finding),
            "unit": finding.unit or None,
            "values": "; ".join(_values(finding)),
        }


def readme(knowledge: Knowledge, form: Form, counts: str) -> str:
    """What lies in the folder. counts: how many exams and rows, in a line."""
    says = _IDENTIFIED if form is Form.IDENTIFIED else _REMOVED
    files = [f"{table.name}: {table.meaning}" for table in tables(knowledge, form)]
    files.append("dictionary.csv: What every column means")
    return (
        "\n\n".join(
            (
                f"Signed exams from Evenhand, {form.value}. {counts}",
                *says,
                *_OF_THE_FILES,
                "\n".join(files),
            )
        )
        + "\n"
    )


def dictionary_page(knowledge: Knowledge) -> str:
    """The dictionary as a document, both forms in one."""
    parts = [
        "# The exported tables",
        (
            "Made from the vocabulary and the knowledge; do not edit. How an export is "
            "made: [the clinic's own data](../guide/data.md)."
        ),
        *_OF_THE_FILES,
        "## Where identifiers are removed",
        *_REMOVED,
    ]
    identified = tables(knowledge, Form.IDENTIFIED)
    removed = {table.name: table for table in tables(knowledge, Form.REMOVED)}
    for table in identified:
        parts += [f"## {table.name}", f"{table.meaning}.", _columns(table, removed[table.name])]
    return "\n\n".join([*parts, "## Findings", _finding_list()]) + "\n"


def _columns(identified: Table, removed: Table) -> str:
    lines = ["| column | holds | means | unit | values |", "|---|---|---|---|---|"]
    also = {column.name: column for column in removed.columns}
    for column in identified.columns:
        other = also.get(column.name)
        meaning = column.meaning
        if other is None:
            meaning += ". *Identified only*"
        elif other.meaning != meaning:
            meaning += f". *Identifiers removed:* {other.meaning}"
        values = "<br>".join(column.values)
        cells = (f"`{column.name}`", column.kind.value, meaning, column.unit, values)
        lines.append(f"| {' | '.join(_cell(each) for each in cells)} |")
    return "\n".join(lines)


def _finding_list() -> str:
    lines = ["| finding | means | unit | values |", "|---|---|---|---|"]
    for finding in vocabulary().values():
        cells = (f"`{finding.id}`", _meaning(finding), finding.unit, "<br>".join(_values(finding)))
        lines.append(f"| {' | '.join(_cell(each) for each in cells)} |")
    return "\n".join(lines)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _meaning(finding: Finding) -> str:
    hint = f" ({finding.hint})" if finding.hint else ""
    sides = "; RIGHT and LEFT" if finding.paired else ""
    return f"{finding.label}{hint}{sides}"


def _values(finding: Finding) -> tuple[str, ...]:
    match finding.scale:
        case Scale.GRADE:
            return tuple(f"{grade}: {GRADE_WORDS[grade]}" for grade in GRADES)
        case Scale.YESNO:
            return ("yes", "no")
        case Scale.CHOICE:
            return tuple(
                f"{value}: {words}"
                for value, words in zip(finding.values, finding.words, strict=True)
            )
        case _:
            return (f"{finding.minimum} to {finding.maximum}",)
