"""What a signed exam added up to, as rows to be counted."""

import json
from collections.abc import Iterator
from typing import Any

from app.store.signing_tables import ConclusionRow

# The one warning that every assessment has, with a level of its own.
_FALL_RISK = "fall_risk"
_NOT_LISTED = "not_supported"


def conclusions_of(exam_id: str, content: str) -> Iterator[ConclusionRow]:
    """The rows of an exam. content: what was signed of it, as canonical JSON."""
    assessment: dict[str, Any] = json.loads(json.loads(content)["assessment"])
    for each in assessment.get("categories", ()):
        if each["level"] != _NOT_LISTED:
            yield ConclusionRow(
                exam_id=exam_id,
                kind="category",
                item=each["id"],
                level=each["level"],
                side=each["side"],
            )
    for each in assessment.get("warnings", ()):
        is_falls_group = each["id"] == _FALL_RISK
        yield ConclusionRow(
            exam_id=exam_id,
            kind="falls_group" if is_falls_group else "warning",
            item="" if is_falls_group else each["id"],
            level=each["level"] if is_falls_group else each["urgency"],
        )
