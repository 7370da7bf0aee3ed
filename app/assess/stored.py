"""An assessment read back from its JSON, as it was concluded when an exam was signed."""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from app.assess.assessment import (
    Assessment,
    CategoryFound,
    CheckNext,
    Conflict,
    Hazard,
    NextStep,
    NotRecognised,
    Reason,
    Recognised,
    WarningRaised,
)
from app.exam.record import Cell, Recorded, Value
from app.exam.vocabulary import Side


class BadAssessment(ValueError):
    """The text is not an assessment that this version can read."""


def parse_assessment(text: str, cells: Mapping[Cell, Recorded] | None = None) -> Assessment:
    """What `as_text` wrote. Categories that nothing pointed to are not in it.

    cells: of the exam; a measured value then has the digits that were typed, 9.10 and not 9.1.
    Raises: BadAssessment.
    """
    held = cells or {}

    def as_typed(raw: dict[str, Any]) -> dict[str, Any]:
        if isinstance(raw.get("value"), int | float):
            typed = held.get((raw.get("finding", ""), _side(raw.get("side"))))
            if isinstance(typed, Decimal) and float(typed) == raw["value"]:
                return raw | {"value": typed}
        return raw

    try:
        return _assessment(json.loads(text, object_hook=as_typed))
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise BadAssessment(f"not an assessment: {fault}") from fault


def _assessment(raw: Mapping[str, Any]) -> Assessment:
    return Assessment(
        knowledge=raw["knowledge"],
        derived=raw["derived"],
        categories=tuple(
            CategoryFound(
                id=each["id"],
                level=each["level"],
                side=each["side"],
                qualifiers=tuple(each["qualifiers"]),
                reasons_for=_reasons(each["for"]),
                against=_reasons(each["against"]),
                missing=_reasons(each["missing"]),
                sources=tuple(each["sources"]),
            )
            for each in raw["categories"]
        ),
        warnings=tuple(
            WarningRaised(
                id=each["id"],
                urgency=each["urgency"],
                level=each.get("level"),
                qualifiers=tuple(each.get("qualifiers", ())),
                because=_reasons(each["because"]),
                missing=_reasons(each["missing"]),
                sources=tuple(each["sources"]),
            )
            for each in raw["warnings"]
        ),
        next_steps=tuple(
            NextStep(each["id"], each["urgency"], tuple(each["because"]), tuple(each["sources"]))
            for each in raw["next_steps"]
        ),
        check_next=tuple(
            CheckNext(each["finding"], each["side"], tuple(each["settles"]))
            for each in raw["check_next"]
        ),
        hazards=tuple(Hazard(each["id"], _reasons(each["because"])) for each in raw["hazards"]),
        unexplained=_reasons(raw["unexplained"]),
        conflicts=tuple(
            Conflict(tuple(each["findings"]), _side(each["side"]), each["says"])
            for each in raw["conflicts"]
        ),
        recognised=tuple(
            Recognised(each["text"], each["ingredient"], tuple(each["classes"]))
            for each in raw["medicines"]["recognised"]
        ),
        not_recognised=tuple(
            NotRecognised(each["text"], tuple(each["near"]))
            for each in raw["medicines"]["not_recognised"]
        ),
    )


def _reasons(raw: list[Mapping[str, Any]]) -> tuple[Reason, ...]:
    return tuple(
        Reason(
            finding=each.get("finding"),
            side=_side(each.get("side")),
            value=_value(each.get("value")),
            medicine=each.get("medicine"),
            medicine_class=each.get("class"),
        )
        for each in raw
    )


def _side(raw: str | None) -> Side | None:
    return None if raw is None else Side(raw)


def _value(raw: Any) -> Value | None:
    # As it was typed; JSON's own fractions would not compare equal to it.
    return Decimal(repr(raw)) if isinstance(raw, float) else raw
