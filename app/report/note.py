"""The exam as plain text to paste: at most 250 words, whatever was recorded.

What does not fit is shortened in one fixed order (app.report.room). A list that is cut says how
much of it is left, and a text that is cut says so. No urgent warning is ever left out, nor the line
that says what was not examined, nor that an amendment stands beside the exam, nor that emergencies
were acknowledged. Only who confirmed a nurse's findings may be left to the PDF without a word.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from app.assess.words import side_words
from app.exam.vocabulary import GRADES, graded
from app.knowledge.load import Knowledge
from app.language.words import N_, _
from app.report.content import Content, Items, Pattern, Warned, content
from app.report.listing import normal_words, not_examined_words
from app.report.page import ReportInput
from app.report.phrases import folded, quoted
from app.report.room import SHORTER, Room
from app.report.wrapping import count_words, few_words, wrapped

MOST_WORDS = 250
_MORE = N_("What is only counted here stands in the PDF.")
_DISCLAIMER = N_("Supports and does not replace clinical judgement; not a diagnosis.")


def text_note(report: ReportInput, knowledge: Knowledge) -> str:
    """The note, in lines of at most 80 columns that each end in a newline.

    It begins with DRAFT, SIGNED or AMENDED.
    """
    told = content(report, knowledge)

    def fits(room: Room) -> bool:
        return sum(map(count_words, _paragraphs(told, room))) <= MOST_WORDS

    room = Room()
    taken: list[tuple[str, int]] = []
    for name, entries in SHORTER:
        if fits(room):
            break
        taken.append((name, getattr(room, name)))
        room = replace(room, **{name: entries})
    # A step can take more than was needed; what still fits is given back, the last step first.
    for name, entries in reversed(taken):
        wider = replace(room, **{name: entries})
        room = wider if fits(wider) else room
    return _text(told, room)


def _text(told: Content, room: Room) -> str:
    lines: list[str] = []
    for paragraph in _paragraphs(told, room):
        lines.extend(wrapped(paragraph))
    return "".join(f"{line}\n" for line in lines)


def _paragraphs(told: Content, room: Room) -> Iterator[str]:
    yield told.state
    yield told.patient
    if told.amended:
        head, text = told.amended
        yield f"{head}: {_own(text, room.amended)}"
    if told.earlier_amendments and room.amended:
        yield _("Amendments before it: {earlier_amendments}, see the PDF").format(
            earlier_amendments=told.earlier_amendments
        )
    if told.reason and room.reason:
        yield _("Reason: {reason}").format(reason=few_words(told.reason, room.reason))
    for warned in told.urgent:
        yield f"{warned.urgency}: {_warning(warned, room.because)}"
    yield from _acknowledged(told, room)
    for heading, text, most in (
        (_("Impression"), told.impression, room.impression),
        (_("Plan"), told.plan, room.plan),
    ):
        if text:
            yield f"{heading}: {_own(text, most)}"
    if told.codes:
        yield _("Codes chosen (ICD-10-CM): {codes}").format(codes=_first(told.codes, room.codes))
    yield from _patterns(told, room)
    if told.warnings:
        labels = [warned.label for warned in told.warnings]
        yield _("Warnings: {warnings}").format(warnings=_first(labels, room.warnings))
    hazards = (
        _(". Hazards: {hazards}").format(hazards=_first(told.hazards, room.hazards))
        if told.hazards
        else ""
    )
    yield _("Falls group (not a prediction): {falls}{hazards}.").format(
        falls=told.falls, hazards=hazards
    )
    yield from _signs(told, room)
    for heading, text in (
        (_("Explained by no pattern"), _cut(told.unexplained, room.unexplained)),
        (_("History"), _cut(told.history, room.history)),
        (_("Measured"), _cut(told.measured, room.measured)),
        (_("Contradictions"), _first(told.conflicts, room.conflicts)),
        (
            _("Medicines not recognised, not checked"),
            _first(told.unknown_medicines, room.medicines),
        ),
    ):
        if text:
            yield f"{heading}: {text}"
    yield from _confirmed(told, room)
    yield from _steps(told, room)
    yield _("Normal: {room}").format(room=_normal(told, room))
    yield _("Not examined: {room}").format(room=_not_examined(told, room))
    if told.untestable:
        yield _("Could not be tested: {room}").format(room=_untestable(told, room))
    yield _(_MORE)
    yield _(_DISCLAIMER)
    yield told.exam


def _warning(warned: Warned, most: int) -> str:
    return f"{warned.label} [{_cut(warned.because, most)}]" if most else warned.label


def _patterns(told: Content, room: Room) -> Iterator[str]:
    if not told.patterns:
        yield _("Patterns: none is listed.")
    for pattern in told.patterns[: room.categories]:
        yield _pattern(pattern, room)
    if left := len(told.patterns[room.categories :]):
        yield _("Patterns: {left} more.").format(left=left)


def _pattern(pattern: Pattern, room: Room) -> str:
    line = "; ".join(filter(None, (pattern.head, ", ".join(pattern.qualifiers[: room.qualifiers]))))
    for heading, items, most in (
        (_("Against"), pattern.against, room.against),
        (_("Missing"), pattern.missing, room.missing),
    ):
        line += f". {heading}: {_cut(items, most)}" if items else ""
    return line + "."


def _signs(told: Content, room: Room) -> Iterator[str]:
    if not any(told.signs.values()):
        yield _("Abnormal signs: none recorded.")
        return
    if not room.signs:
        right, left, middle = map(len, told.signs.values())
        yield _("Abnormal signs: {count} (RIGHT {right}, LEFT {left})").format(
            count=right + left + middle, right=right, left=left
        )
        return
    grades = ", ".join(map(graded, GRADES[1:]))
    yield _("Abnormal signs ({grades}; other side normal unless said):").format(grades=grades)
    for side, signs in told.signs.items():
        if signs or side:
            name = side_words(side) or _("Without side")
            yield f"{name}: {_cut(signs, room.signs) or _('none recorded')}"


def _acknowledged(told: Content, room: Room) -> Iterator[str]:
    # Their names stand in the lines above.
    if room.acknowledged:
        for each in told.acknowledged:
            yield _("Emergencies acknowledged: {items}, by {by}").format(
                items=len(each.items), by=each.by
            )
    elif told.acknowledged:
        yield _("Emergencies acknowledged: {acknowledged}").format(
            acknowledged=sum(len(each.items) for each in told.acknowledged)
        )


def _confirmed(told: Content, room: Room) -> Iterator[str]:
    for each in told.confirmed if room.confirmed else ():
        yield _("Confirmed by {by}: {confirmed}").format(
            by=each.by, confirmed=_cut(each.items, room.confirmed)
        )


def _steps(told: Content, room: Room) -> Iterator[str]:
    for heading, decided, most in (
        (_("Taken over"), told.taken, room.taken),
        (_("Declined"), told.declined, room.declined),
    ):
        if decided:
            yield f"{heading}: {_first(decided, most)}"
    for urgency, steps in groupby(told.steps[: room.steps], key=lambda step: step[0]):
        yield _("Consider ({urgency}): {steps}").format(
            urgency=urgency, steps="; ".join(says for _id, says in steps)
        )
    if left := len(told.steps[room.steps :]):
        yield _("Consider: {left} more, see the PDF").format(left=left)


def _normal(told: Content, room: Room) -> str:
    if room.normal == 2:
        return normal_words(told.stations) or _("nothing recorded")
    if room.normal == 1:
        stations = [
            f"{at.station.label} ({_('all else') if at.is_complete else len(at.normal)})"
            for at in told.stations
            if at.normal
        ]
        return "; ".join(stations) or _("nothing recorded")
    return _("{number} findings").format(number=sum(len(at.normal) for at in told.stations))


def _not_examined(told: Content, room: Room) -> str:
    missing = sum(len(at.missing) for at in told.stations)
    if not missing:
        parts = [_("Nothing of the quick pass")]
    elif room.not_examined == 2:
        parts = [not_examined_words(told.stations)]
    elif room.not_examined == 1:
        stations = [
            f"{at.station.label} ({len(at.missing) if at.touched else _('all of it')})"
            for at in told.stations
            if at.missing
        ]
        parts = ["; ".join(stations)]
    else:
        parts = [_("{missing} findings of the quick pass").format(missing=missing)]
    if others := sum(len(at.others) for at in told.stations):
        parts.append(_("{others} findings beyond the quick pass").format(others=others))
    if not told.medicines_asked:
        parts.append(_("Medicines were not asked"))
    return ". ".join(parts) + "."


def _untestable(told: Content, room: Room) -> str:
    if room.untestable == 0:
        count = sum(len(cells) for _reason, cells in told.untestable)
        return _("{count} findings, the reasons are in the PDF").format(count=count)
    lines = [f"{_cut(cells, 3)}: {quoted(reason)}" for reason, cells in told.untestable]
    return _first(lines, room.untestable)


def _own(text: str, most: int) -> str:
    """The first words of what a person wrote; it says so where that is not all."""
    words = text.split()
    if len(words) <= most:
        return text
    return (
        _("{words}… (cut, see the PDF)").format(words=" ".join(words[:most]))
        if most
        else _("see the PDF")
    )


def _cut(items: Items, most: int) -> str:
    """The first findings of a list in words, the others only counted."""
    return _and_more(folded(items[:most]), len(items) - most)


def _first(phrases: Sequence[str], most: int) -> str:
    """The first phrases of a list, the others only counted."""
    return _and_more(phrases[:most], len(phrases) - most)


def _and_more(shown: Sequence[str], left: int) -> str:
    if left <= 0:
        return "; ".join(shown)
    return "; ".join([*shown, _("and {left} more").format(left=left)]) if shown else str(left)
