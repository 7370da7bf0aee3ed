"""What the store refuses to do, as exceptions whose message can be shown to the user."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from app.exam.record import Cell, Recorded
from app.language.words import _

if TYPE_CHECKING:
    from app.store.accounts import Account
    from app.store.cells import CellRecord, MedicinesRecord
    from app.store.clinic_settings import SettingRecord
    from app.store.review import ReviewItem, ReviewKey, ReviewValue


class NotFound(LookupError):
    """There is no such patient, exam, account, code or request."""


class BadForm(ValueError):
    """A form cannot be accepted. `faults` has the message for each field that is wrong."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__("\n".join(f"{field}: {says}" for field, says in faults.items()))
        self.faults = dict(faults)


class NotOpen(Exception):
    """The exam is signed; it takes no more entries."""


class NotSigned(Exception):
    """The exam is not signed yet; nothing can be put beside it."""


class StaleReview(Exception):
    """What was reviewed is not what would be signed now. Nothing was signed."""


class BackDated(ValueError):
    """A time of signing lies before something that it would sign. Nothing was signed."""


class NotYours(Exception):
    """Somebody wanted to take back what somebody else entered."""


class StaleRevision(ValueError):
    """A revision was named that the exam, or the clinic's settings, have not reached."""


class SettingsCollision(Exception):
    """Somebody set the same settings meanwhile, otherwise. Nothing was written.

    theirs: what stands there now, by the name of the setting; mine: what was to be written.
    revision: that of the settings then.
    """

    def __init__(
        self, theirs: Mapping[str, "SettingRecord"], wanted: Mapping[str, str], revision: int
    ) -> None:
        super().__init__(
            _("somebody else set {theirs} of these settings meanwhile").format(theirs=len(theirs))
        )
        self.theirs = dict(theirs)
        self.mine = {name: wanted[name] for name in theirs}
        self.revision = revision


class AccountCollision(Exception):
    """Somebody changed the account meanwhile. Nothing was written. theirs: as it stands now."""

    def __init__(self, theirs: "Account") -> None:
        super().__init__(_("somebody else changed this account meanwhile"))
        self.theirs = theirs


class Busy(Exception):
    """Another write held the database for too long. Nothing was written; trying again may work."""


class Away(Busy):
    """The database cannot be reached, cannot be written, or has no connection free.

    is_unsure: the connection was lost while the transaction was being committed, so that nobody
    knows whether it was; a second try finds out.
    """

    def __init__(self, says: str, *, is_unsure: bool = False) -> None:
        super().__init__(says)
        self.is_unsure = is_unsure


class Unreadable(RuntimeError):
    """The database holds something that this version of the program cannot read."""


class Collision(Exception):
    """Somebody wrote the same cell meanwhile, with another value. Nothing was written.

    cells: for each such cell what stands there now, and what was to be written (None clears).
    """

    def __init__(
        self, cells: Mapping[Cell, tuple["CellRecord", Recorded | None]], says: str = ""
    ) -> None:
        super().__init__(
            says
            or _("somebody else wrote {cells} of these cells meanwhile").format(cells=len(cells))
        )
        self.cells = dict(cells)


class MedicinesCollision(Collision):
    """Somebody wrote the medicines meanwhile, with other lines. Nothing was written.

    `cells` is empty; `theirs` is what stands there now, `mine` what was to be written.
    """

    def __init__(self, theirs: "MedicinesRecord", mine: tuple[str, ...] | None) -> None:
        super().__init__({}, _("somebody else wrote the medicines meanwhile"))
        self.theirs = theirs
        self.mine = mine


class ReviewCollision(Collision):
    """Somebody decided the same items of the review meanwhile, differently. Nothing was written.

    `cells` is empty; `items` has what stands there now, and what was to be written (None takes it
    back).
    """

    def __init__(
        self, items: Mapping["ReviewKey", tuple["ReviewItem", "ReviewValue | None"]]
    ) -> None:
        super().__init__(
            {},
            _("somebody else wrote {items} parts of the review meanwhile").format(items=len(items)),
        )
        self.items = dict(items)
