"""The clinic's own settings: its name, its pathways beside the next steps, how long sign-ins last.

They are kept as text, one row for each change; the newest of a name counts, and the number of the
newest of all is the revision.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from types import MappingProxyType

from sqlalchemy import func
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.knowledge.load import knowledge
from app.language.words import _
from app.store.actor import Actor
from app.store.audit import note
from app.store.audit_tables import SettingRow
from app.store.engine import one_at_a_time
from app.store.free_text import BadText, check_line, check_lines
from app.store.refusals import BadForm, SettingsCollision, StaleRevision

LONGEST_NAME = 80
LONGEST_PATHWAY = 500
# Common practice: a screen with a chart on it locks within the hour, and nobody works for longer
# than a day at a stretch.
IDLE_MINUTES = (2, 60)
ABSOLUTE_HOURS = (1, 24)
# In front of the id of a step or a warning.
PATHWAY = "pathway."


@dataclass(frozen=True)
class ClinicSettings:
    """What a clinic has set.

    name: of the clinic, "" where it has none. pathways: whom to call or where to refer, by the id
    of a step or a warning. impression_first: whether the physician writes the impression before
    the suggestions open.
    """

    name: str
    pathways: Mapping[str, str]
    idle_minutes: int
    absolute_hours: int
    impression_first: bool


@dataclass(frozen=True)
class SettingRecord:
    """A setting as somebody set it; "" where it was emptied."""

    value: str
    by: str
    at: datetime


DEFAULTS = ClinicSettings(
    name="",
    pathways=MappingProxyType({}),
    idle_minutes=10,
    absolute_hours=12,
    impression_first=False,
)


def clinic_settings(
    session: Session,
    defaults: ClinicSettings = DEFAULTS,
    *,
    at: datetime | None = None,
    at_revision: int | None = None,
) -> ClinicSettings:
    """The settings in force; what was never set, or was emptied, is as in the defaults.

    at, at_revision: as they stood then; as they stand now, where both are None.
    """
    held = _held(session, at, at_revision)
    pathways = {
        name.removeprefix(PATHWAY): value
        for name, value in held.items()
        if name.startswith(PATHWAY) and value
    }
    return ClinicSettings(
        name=held.get("name") or defaults.name,
        pathways=MappingProxyType({**defaults.pathways, **pathways}),
        idle_minutes=int(held.get("idle_minutes", defaults.idle_minutes)),
        absolute_hours=int(held.get("absolute_hours", defaults.absolute_hours)),
        impression_first=(
            held["impression_first"] == "yes"
            if "impression_first" in held
            else defaults.impression_first
        ),
    )


def settings_revision(session: Session) -> int:
    """The revision of the settings; 0 before the first change."""
    return session.exec(select(func.max(SettingRow.id))).one() or 0


def change_settings(
    session: Session,
    changes: Mapping[str, str],
    *,
    at_revision: int,
    actor: Actor,
    now: datetime,
) -> None:
    """Change settings, all of them or none; what stands so already is not written again.

    changes: as typed, under `name`, `idle_minutes`, `absolute_hours`, `impression_first` (yes or
    no) and `pathway.` with the id of a step or a warning. at_revision: that of the settings from
    which they were changed.
    Raises: BadForm, with every fault; SettingsCollision, where somebody has set one of them
    otherwise meanwhile; StaleRevision.
    """
    faults: dict[str, str] = {}
    checked: dict[str, str] = {}
    for name, raw in changes.items():
        try:
            checked[name] = _check_of(name)(raw)
        except BadText as fault:
            faults[name] = str(fault)
    if faults:
        raise BadForm(faults)
    # Of two who save at once, the second looks once the first is done.
    one_at_a_time(session.connection())
    _refuse_collisions(session, checked, at_revision)
    held = _held(session)
    rows = tuple(
        SettingRow(
            name=name, value=value, by=actor.name, account_id=actor.account_id or None, at=now
        )
        for name, value in checked.items()
        if value != held.get(name, "")
    )
    if rows:
        session.add_all(rows)
        session.flush()
        changed = sorted(row.name for row in rows)
        note(session, actor, "setting", at=now, detail={"names": changed}, rows=rows)


def _held(
    session: Session, at: datetime | None = None, at_revision: int | None = None
) -> dict[str, str]:
    newest = _newest()
    if at is not None:
        newest = newest.where(col(SettingRow.at) <= at)
    if at_revision is not None:
        newest = newest.where(col(SettingRow.id) <= at_revision)
    asked = select(SettingRow.name, SettingRow.value).where(col(SettingRow.id).in_(newest))
    return dict(session.exec(asked).all())


def _newest() -> SelectOfScalar[int | None]:
    """The number of the newest row of each name."""
    return select(func.max(SettingRow.id)).group_by(col(SettingRow.name))


def _refuse_collisions(session: Session, wanted: Mapping[str, str], at_revision: int) -> None:
    revision = settings_revision(session)
    if at_revision > revision:
        raise StaleRevision(_("the settings have no such revision"))
    asked = select(SettingRow).where(
        col(SettingRow.id).in_(_newest()), col(SettingRow.id) > at_revision
    )
    meanwhile = {
        row.name: SettingRecord(row.value, row.by, row.at)
        for row in session.exec(asked)
        if wanted.get(row.name, row.value) != row.value
    }
    if meanwhile:
        raise SettingsCollision(meanwhile, wanted, revision)


def _check_of(name: str) -> Callable[[str], str]:
    if name.startswith(PATHWAY):
        known = knowledge()
        place = name.removeprefix(PATHWAY)
        if place in known.steps or place in known.warnings:
            return partial(check_lines, longest=LONGEST_PATHWAY)
    return _CHECKS.get(name, _unknown)


def _unknown(_raw: str) -> str:
    raise BadText(_("is not a setting"))


def _whole(raw: str, *, between: tuple[int, int]) -> str:
    text = raw.strip()
    least, most = between
    if not (text.isascii() and text.isdecimal() and len(text) <= 4 and least <= int(text) <= most):
        raise BadText(
            _("must be a whole number from {least} to {most}").format(least=least, most=most)
        )
    return str(int(text))


def _yes_or_no(raw: str) -> str:
    if raw not in ("yes", "no"):
        raise BadText(_("must be yes or no"))
    return raw


_CHECKS: Mapping[str, Callable[[str], str]] = {
    "name": partial(check_line, longest=LONGEST_NAME),
    "idle_minutes": partial(_whole, between=IDLE_MINUTES),
    "absolute_hours": partial(_whole, between=ABSOLUTE_HOURS),
    "impression_first": _yes_or_no,
}
