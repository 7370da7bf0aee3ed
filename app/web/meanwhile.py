"""What others do at the same exam, in words: their entries, who is here, and collisions."""

import hashlib
from collections.abc import Iterable, Sequence

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import vocabulary
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
        f"{recorder_words(theirs)} recorded {their_words}. Yours, {own}, is not saved.",
        is_collision=True,
        theirs=their_words,
        mine=own,
        their_value=shown.value,
        their_why=shown.why,
    )


def medicines_clash(collision: MedicinesCollision) -> Message:
    """The same of the medicines."""
    own = medicines_words(collision.mine)
    return _about_medicines(collision.theirs, f"Yours, {own}, are not saved.")


def news(cell: Cell, held: CellRecord, me: Actor | None) -> News | None:
    """That somebody else recorded a cell; None where it was me."""
    if _is(held, me):
        return None
    shown, words = typed_of(held.value), recorded_words(cell, held.value)
    message = Message(
        f"{recorder_words(held)} recorded {words} meanwhile. "
        "What stands here is kept until you choose.",
        is_collision=True,
        theirs=words,
        mine="what stands here",
        their_value=shown.value,
        their_why=shown.why,
    )
    return News(_mark(held), message)


def medicines_news(held: MedicinesRecord | None, me: Actor | None) -> News | None:
    """That somebody else recorded the medicines; None where it was me, or nobody."""
    if held is None or _is(held, me):
        return None
    says = "What stands here is kept until you choose."
    return News(_mark(held), _about_medicines(held, says))


def recorded_words(cell: Cell, recorded: Recorded | None) -> str:
    """What stands in a cell, in words."""
    return f"“{said(vocabulary()[cell[0]], recorded)}”"


def medicines_words(lines: tuple[str, ...] | None) -> str:
    """The medicines in one line."""
    if lines is None:
        return "“not asked”"
    return f"“{'; '.join(lines)}”" if lines else "“takes no medicines”"


def places() -> dict[str, str]:
    """Where somebody can be on the sheet, in words."""
    labels = {station.id: station.label for station in vocabulary().stations}
    return labels | {MEDICINES_PLACE: "Medicines"}


def here_view(present: Iterable[Present]) -> HereView:
    """Who else has the exam open, and where they are."""
    says = "; ".join(
        f"{each.name} ({each.role}) is {f'in {places()[each.station]}' if each.station else 'here'}"
        for each in sorted(present, key=lambda each: (each.name, each.role, each.station))
    )
    # The names themselves would stand in the address of the next question.
    return HereView(says, hashlib.sha256(says.encode()).hexdigest()[:16] if says else "")


def state_view(state: str, signed: Sequence[Signature] = ()) -> ExamState:
    """The state of an exam, and by whom it was closed where that is known."""
    if state in OPEN_STATES:
        return ExamState(state, STATE_WORDS[state])
    by = f" by {signed[0].printed_name}, {signed[0].signed_at:%H:%M}" if signed else ""
    says = f"This exam was signed{by}. It takes no more entries."
    return ExamState(state, STATE_WORDS[state], says)


def _about_medicines(theirs: MedicinesRecord, rest: str) -> Message:
    return Message(
        f"{recorder_words(theirs)} recorded {medicines_words(theirs.lines)}. {rest}",
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
    return f"by {held.by}, {local(held.at):%H:%M}"


def recorder_words(held: CellRecord | MedicinesRecord) -> str:
    """Who recorded it, in which role and when."""
    return f"{held.by} ({held.role}, {local(held.at):%H:%M})"
