"""Describe the codes that may be recorded with a pattern, and when the review offers them."""

from app.knowledge.described import CodeDescription, CodesDescription
from app.knowledge.load import Knowledge
from app.knowledge.words import condition_words


def describe_codes(category_id: str, knowledge: Knowledge) -> CodesDescription:
    """The codes of one category with their titles, and what each is never recorded with."""
    icd = knowledge.icd
    return CodesDescription(
        says=icd.says,
        release=f"{icd.classification}, {icd.release}",
        offered=tuple(
            CodeDescription(
                code,
                icd.title[code],
                _suggested(code, knowledge),
                tuple(note.note for note in icd.excludes1 if code in note.codes),
            )
            for code in icd.category.get(category_id, ())
        ),
        none=icd.no_code.get(category_id, ""),
    )


def _suggested(code: str, knowledge: Knowledge) -> str:
    """When the review offers a code, in words; "" for one that it never offers."""
    for each in knowledge.icd.suggested:
        if each.code == code:
            says = condition_words(knowledge.conditions[each.when], knowledge)
            return f"{each.side.value.upper()}: {says}" if each.side else says
    return ""
