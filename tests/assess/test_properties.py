"""What holds for every exam (contract, section 1): drawn at random, conflicts and all."""

import json
from collections.abc import Iterator
from dataclasses import replace
from types import MappingProxyType

from hypothesis import given, settings
from hypothesis import strategies as st

from app.assess.assess import assess, world_of
from app.assess.assessment import URGENCIES
from app.assess.exact import exactly
from app.exam.record import Exam, Untestable
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.load import knowledge
from app.logic.expression import Atom, Expression, Reference, Surely, walk
from app.logic.truth import UNKNOWN, YES
from tests.strategies import CELLS, exams, fuller_exams, values_of

KNOWN = knowledge()
# An assessment takes its time, so these draw fewer examples than a profile says.
FEW = settings(max_examples=settings().max_examples * 2 // 5)
SOME = settings(max_examples=settings().max_examples * 3 // 5)
BY_NAME = {"right": "left", "left": "right"}


# ---- the mirror


def mirror(document: object) -> object:
    """A JSON document with right and left changed over, its lists put in their order again."""
    if isinstance(document, dict):
        if document.keys() == {"right", "left"}:
            return {"right": document["left"], "left": document["right"]}
        changed = {key: mirror(held) for key, held in document.items()}
        if changed.get("side") in BY_NAME:
            changed["side"] = BY_NAME[changed["side"]]  # type: ignore[index]
        return changed
    if isinstance(document, list):
        return in_order([mirror(each) for each in document])
    return document


def in_order(listed: list[object]) -> list[object]:
    """Entries that differ in their side alone, right before left; all others stay in place."""
    first: dict[str, int] = {}
    placed: list[tuple[int, bool, int]] = []
    for number, each in enumerate(listed):
        run, left = number, False
        if isinstance(each, dict) and each.get("side") in BY_NAME:
            rest = {key: held for key, held in each.items() if key not in ("side", "value")}
            run, left = first.setdefault(json.dumps(rest), number), each["side"] == "left"
        placed.append((run, left, number))
    return [listed[number] for _, _, number in sorted(placed)]


@FEW
@given(exams())
def test_the_mirror_of_an_exam_gives_the_mirrored_assessment(exam: Exam) -> None:
    """Proves the sides: nothing anywhere is decided by which hand it is."""
    straight = assess(exam, KNOWN).as_json(every_category=True)

    assert mirror(straight) == assess(exam.mirrored(), KNOWN).as_json(every_category=True)


# ---- soundness


def conflicts(exam: Exam) -> set[tuple[tuple[str, ...], Side | None]]:
    """The contradictions in an exam."""
    world = world_of(exam, KNOWN)
    return {
        (rule.findings, side)
        for rule in KNOWN.conflicts
        for side in (SIDES if rule.paired else (None,))
        if world.holds(rule.when, side) is YES
    }


def without_new_conflicts(exam: Exam, more: Exam) -> Exam:
    """What was added, but for the findings that contradict what was there."""
    before, cells = conflicts(exam), dict(more.cells)
    while added := conflicts(replace(exam, cells=MappingProxyType(cells))) - before:
        for findings, side in added:
            for finding in findings:
                if (finding, side) not in exam.cells:
                    cells.pop((finding, side), None)
    return replace(exam, cells=MappingProxyType(cells))


def parts(expression: Expression) -> Iterator[Expression]:
    """A condition with everything that it speaks of, by name too."""
    for part in walk(expression):
        yield part
        if isinstance(part, Reference):
            yield from parts(KNOWN.definitions[part.name].expression)


def rests_on_not_knowing(expression: Expression) -> bool:
    """Whether an answer may withdraw it: `not known to`, or `known` itself."""
    return any(
        isinstance(part, Surely) or (isinstance(part, Atom) and part.relation == "known")
        for part in parts(expression)
    )


# Whatever else is found, these are never taken back once they were raised.
NEVER_TAKEN_BACK = {
    *("flap", "wernicke", "blackout_falls", "orthostatic_drop", "vertical_gaze", "swallowing"),
}


def test_what_can_be_taken_back_is_what_is_said_of_what_is_not_known() -> None:
    """The exemptions of the contract are these warnings, and no other.

    Emergencies `not known to`, what follows from an open category, and the pull test's warning
    before the test. A delay that stands in for an onset is one more, by way of a conflict only.
    """
    assert NEVER_TAKEN_BACK <= {
        warning
        for warning in KNOWN.warnings
        if not rests_on_not_knowing(Reference(f"{warning}_raised"))
    }


@SOME
@given(st.data(), exams())
def test_a_requirement_once_decided_stays_so(data: st.DataObject, exam: Exam) -> None:
    """Whatever else is found, as long as it adds no conflict. Exempt by name: nothing_abnormal."""
    more = without_new_conflicts(exam, data.draw(fuller_exams(exam)))
    before, after = world_of(exam, KNOWN), world_of(more, KNOWN)

    for category in KNOWN.categories:
        name = f"{category}_fits"
        if category != "nothing_abnormal" and exactly(before, name) is not UNKNOWN:
            assert exactly(before, name) is exactly(after, name), name


@SOME
@given(st.data(), exams())
def test_a_level_once_decided_stays_so(data: st.DataObject, exam: Exam) -> None:
    """What fits goes on to fit, and a caution stays one; what is partly there will not fit.

    Open is no claim. Partly there ends where the sign that pointed was one `of unknown kind`, whose
    kind is then known, or where higher-level gait is excluded.
    """
    more = without_new_conflicts(exam, data.draw(fuller_exams(exam)))
    after = {each.id: each.level for each in assess(more, KNOWN).categories}
    later = {
        "fits": {"fits", "fits_with_cautions"},
        "fits_with_cautions": {"fits_with_cautions"},
        "partial": {"partial"},
    }

    for each in assess(exam, KNOWN).categories:
        if each.level in later and each.id != "nothing_abnormal":
            allowed = set(later[each.level])
            core = [KNOWN.conditions[sentence] for sentence in KNOWN.categories[each.id].core]
            if each.level == "partial" and any(map(rests_on_not_knowing, core)):
                allowed.add("not_supported")
            assert after[each.id] in allowed, each.id


@SOME
@given(st.data(), exams())
def test_a_warning_once_raised_stays_raised_and_as_urgent(data: st.DataObject, exam: Exam) -> None:
    """But for those that rest on what is not known."""
    more = without_new_conflicts(exam, data.draw(fuller_exams(exam)))
    after = {each.id: URGENCIES.index(each.urgency) for each in assess(more, KNOWN).warnings}

    for each in assess(exam, KNOWN).warnings:
        if each.id in NEVER_TAKEN_BACK:
            assert after[each.id] <= URGENCIES.index(each.urgency), each.id


@SOME
@given(st.data(), exams(untestable=False))
def test_what_is_so_in_every_completion_is_called_so(data: st.DataObject, exam: Exam) -> None:
    """Exact: up to three findings that could still change a requirement are tried out in full."""
    category = data.draw(st.sampled_from(list(KNOWN.categories)))
    name = f"{category}_fits"
    world = world_of(exam, KNOWN)
    unsettled = {(each.finding or "", each.side) for each in world.unsettled(Reference(name))}
    cells = sorted(unsettled & set(CELLS))
    kept, tried = cells[:-3], cells[-3:]
    held = dict(exam.cells)
    for cell in kept:
        held[cell] = data.draw(values_of(cell[0]))
    held = {cell: value for cell, value in held.items() if cell not in tried}
    exam = replace(exam, cells=MappingProxyType(held), medicines=exam.medicines or ())

    outcomes = {exactly(world_of(whole, KNOWN), name) for whole in completed(exam, tried)}

    assert (outcomes.pop() if len(outcomes) == 1 else UNKNOWN) is exactly(
        world_of(exam, KNOWN), name
    )


def completed(exam: Exam, cells: list[tuple[str, Side | None]]) -> Iterator[Exam]:
    """The exam with every value in these cells."""
    if not cells:
        yield exam
        return
    (finding_id, side), rest = cells[0], cells[1:]
    finding = vocabulary()[finding_id]
    values = finding.values or ((False, True) if finding.scale == "yesno" else (0, 1, 2, 3))
    for value in values:
        held = MappingProxyType({**exam.cells, (finding_id, side): value})
        yield from completed(Exam(exam.patient, held, exam.medicines), rest)


# Where finger taps could not be tested hand opening stands in; the pull test needs no warning then.
DECIDED_BY_UNTESTABLE = ("finger_tap_slow", "pull_test")


@FEW
@given(st.data(), exams())
def test_what_could_not_be_tested_is_as_unknown_as_what_was_not_examined(
    data: st.DataObject, exam: Exam
) -> None:
    """It changes no level and no warning, but for two findings by name."""
    cells = dict(exam.cells)
    for cell in data.draw(st.sets(st.sampled_from(CELLS), min_size=1)):
        if cell not in cells and cell[0] not in DECIDED_BY_UNTESTABLE:
            cells[cell] = Untestable("pain")

    assert conclusions(exam) == conclusions(replace(exam, cells=MappingProxyType(cells)))


def conclusions(exam: Exam) -> list[tuple[str, str | None]]:
    """Every level and every warning with its urgency."""
    found = assess(exam, KNOWN)
    levels = [(each.id, each.level) for each in found.categories]
    return [*levels, *((each.id, each.level or each.urgency) for each in found.warnings)]
