"""Describe the codes that may be offered with a pattern."""

from app.knowledge.codes import IcdCodes
from app.knowledge.described import CodeDescription, CodesDescription


def describe_codes(category_id: str, icd: IcdCodes) -> CodesDescription:
    """The codes of one category with their titles, and what each is never recorded with."""
    return CodesDescription(
        says=icd.says,
        release=f"{icd.classification}, {icd.release}",
        offered=tuple(
            CodeDescription(
                code,
                icd.title[code],
                tuple(note.note for note in icd.excludes1 if code in note.codes),
            )
            for code in icd.category.get(category_id, ())
        ),
        none=icd.no_code.get(category_id, ""),
    )
