"""What others do at the same exam, in words: their entries, who is here, and collisions."""

import hashlib
from collections.abc import Iterable, Sequence

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import vocabulary
from app.knowledge.terms import ROLE_WORDS
from app.language.words import _
from app.report.phrases import quoted
from app.store.actor import Actor
from app.store.cells import CellRecord, MedicinesRecord
from app.store.exams import OPEN_STATES
from app.store.presence import Present
from app.store.refusals import MedicinesCollision
from app.store.signatures import Signature
from app.web.sheet import said, typed_of
from app.web.sheet_view import ExamState, HereView, Message, News
from app.web.wording import STATE_WORDS, local

# The place on the sheet that is no station of the vocabulary.
MEDICINES_PLACE = "medicines"
_NO_MEDICINES = "none"


def clash(cell: Cell, theirs: CellRecord, mine: Recorded | None) -> Message:
    """Both values of a cell that somebody else wrote meanwhile; a person settles it."""
    own = recorded_words(cell, mine)
    shown = typed_of(theirs.value)
    their_words = recorded_words(cell, theirs.value)
    return Message(
        _("{theirs} recorded {their_words}. Yours, {own}, is not saved.").format(
            theirs=recorder_words(theirs), their_words=their_words, own=own
        ),
        is_collision=True,
        theirs=their_words,
        mine=own,
        their_value=shown.value,
        their_why=shown.why,
    )


def medicines_clash(collision: MedicinesCollision) -> Message:
    """The same of the medicines."""
    own = medicines_words(collision.mine)
    return _about_medicines(collision.theirs, _("Yours, {own}, are not saved.").format(own=own))


def news(cell: Cell, held: CellRecord, me: Actor | None) -> News | None:
    """That somebody else recorded a cell; None where it was me."""
    if _is(held, me):
        return None
    shown, words = typed_of(held.value), recorded_words(cell, held.value)
    message = Message(
        _("{held} recorded {words} meanwhile. What stands here is kept until you choose.").format(
            held=recorder_words(held), words=words
        ),
        is_collision=True,
        theirs=words,
        mine=_("what stands here"),
        their_value=shown.value,
        their_why=shown.why,
    )
    return News(_mark(held), message)


def medicines_news(held: MedicinesRecord | None, me: Actor | None) -> News | None:
    """That somebody else recorded the medicines; None where it was me, or nobody."""
    if held is None or _is(held, me):
        return None
    says = _("What stands here is kept until you choose.")
    return News(_mark(held), _about_medicines(held, says))


def recorded_words(cell: Cell, recorded: Recorded | None) -> str:
    """What stands in a cell, in words."""
    return quoted(said(vocabulary()[cell[0]], recorded))


def medicines_words(lines: tuple[str, ...] | None) -> str:
    """The medicines in one line."""
    if lines is None:
        return _("“not asked”")
    return quoted("; ".join(lines)) if lines else _("“takes no medicines”")


def places() -> dict[str, str]:
    """Where somebody can be on the sheet, in words."""
    labels = {station.id: station.label for station in vocabulary().stations}
    return labels | {MEDICINES_PLACE: _("Medicines")}


def here_view(present: Iterable[Present]) -> HereView:
    """Who else has the exam open, and where they are."""
    says = "; ".join(
        (
            _("{name} ({role}) is in {place}") if each.station else _("{name} ({role}) is here")
        ).format(
            name=each.name,
            role=ROLE_WORDS[each.role],
            place=places()[each.station] if each.station else "",
        )
        for each in sorted(present, key=lambda each: (each.name, each.role, each.station))
    )
    # The names themselves would stand in the address of the next question.
    return HereView(says, hashlib.sha256(says.encode()).hexdigest()[:16] if says else "")


def state_view(state: str, signed: Sequence[Signature] = ()) -> ExamState:
    """The state of an exam, and by whom it was closed where that is known."""
    if state in OPEN_STATES:
        return ExamState(state, STATE_WORDS[state])
    by = (
        _(" by {printed_name}, {signed_at}").format(
            printed_name=signed[0].printed_name, signed_at=f"{signed[0].signed_at:%H:%M}"
        )
        if signed
        else ""
    )
    says = _("This exam was signed{by}. It takes no more entries.").format(by=by)
    return ExamState(state, STATE_WORDS[state], says)


def _about_medicines(theirs: MedicinesRecord, rest: str) -> Message:
    return Message(
        _("{theirs} recorded {lines}. {rest}").format(
            theirs=recorder_words(theirs), lines=medicines_words(theirs.lines), rest=rest
        ),
        is_collision=True,
        theirs="theirs",
        mine="yours",
        their_value="\n".join(theirs.lines or ()),
        their_why=_NO_MEDICINES if theirs.lines == () else "",
    )


def _is(held: CellRecord | MedicinesRecord, me: Actor | None) -> bool:
    # Two people can have one name and one role; who has no account is nobody who asks.
    return me is not None and bool(me.account_id) and held.account_id == me.account_id


def _mark(held: CellRecord | MedicinesRecord) -> str:
    return _("by {by}, {at}").format(by=held.by, at=f"{local(held.at):%H:%M}")


def recorder_words(held: CellRecord | MedicinesRecord) -> str:
    """Who recorded it, in which role and when."""
    return f"{held.by} ({ROLE_WORDS[held.role]}, {local(held.at):%H:%M})"
