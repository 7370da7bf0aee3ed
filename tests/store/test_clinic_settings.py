"""The clinic's own settings: checked, only ever added, and told by the audit."""

from collections.abc import Callable
from dataclasses import replace
from types import MappingProxyType

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app.store.actor import Actor
from app.store.audit_tables import SettingRow
from app.store.clinic_settings import (
    DEFAULTS,
    ClinicSettings,
    SettingRecord,
    change_settings,
    clinic_settings,
    settings_revision,
)
from app.store.engine import reading, writing
from app.store.refusals import BadForm, SettingsCollision, StaleRevision
from app.store.verify import verify
from tests.store.clinic import MINUTE, NOW
from tests.store.people import ADMINISTRATOR, audited, one_after_the_other

STEP = "emergency_transfer"
WARNING = "cord_compression"


def change(engine: Engine, changes: dict[str, str], actor: Actor = ADMINISTRATOR) -> None:
    """Change settings, in a transaction of its own."""
    with writing(engine) as session:
        change_settings(
            session, changes, at_revision=settings_revision(session), actor=actor, now=NOW
        )


def stored(engine: Engine, defaults: ClinicSettings = DEFAULTS) -> ClinicSettings:
    """The settings as another request reads them."""
    with reading(engine) as session:
        return clinic_settings(session, defaults)


def test_what_nobody_set_is_as_the_program_says(engine: Engine) -> None:
    """Ten minutes, twelve hours, and a name where the server has been given one."""
    named = replace(DEFAULTS, name="Harbour Clinic")

    assert ClinicSettings("", {}, 10, 12, False) == stored(engine)
    assert named == stored(engine, named)


def test_what_was_set_stands(engine: Engine) -> None:
    """Tidied, and over what the server was given."""
    change(
        engine,
        {
            "name": " Hill  Clinic ",
            "idle_minutes": " 05",
            "absolute_hours": "8",
            "impression_first": "yes",
            f"pathway.{STEP}": "Call 1234\r\nthen 5678",
            f"pathway.{WARNING}": "Ward B",
        },
    )
    pathways = {STEP: "Call 1234\nthen 5678", WARNING: "Ward B"}
    defaults = replace(DEFAULTS, name="Harbour", pathways=MappingProxyType({"other": "x"}))

    assert ClinicSettings("Hill Clinic", pathways, 5, 8, True) == stored(engine)
    assert {"other": "x"} | pathways == dict(stored(engine, defaults).pathways)


def test_the_newest_of_each_counts_and_the_older_ones_stay(engine: Engine) -> None:
    """Who changed what and when can be looked up; what is emptied is as before."""
    for changes in (
        {"name": "Hill Clinic", "impression_first": "yes", f"pathway.{STEP}": "Call 1234"},
        {"name": "", "impression_first": "no", f"pathway.{STEP}": " "},
        {"idle_minutes": "7"},
    ):
        change(engine, changes)

    assert replace(DEFAULTS, idle_minutes=7) == stored(engine)
    with reading(engine) as session:
        rows = session.exec(select(SettingRow).order_by(col(SettingRow.id))).all()
        told = [(row.name, row.value, row.by, row.account_id, row.at) for row in rows]
    by = (ADMINISTRATOR.name, None, NOW)
    assert [
        ("name", "Hill Clinic", *by),
        ("impression_first", "yes", *by),
        (f"pathway.{STEP}", "Call 1234", *by),
        ("name", "", *by),
        ("impression_first", "no", *by),
        (f"pathway.{STEP}", "", *by),
        ("idle_minutes", "7", *by),
    ] == told


def test_what_stands_so_already_is_not_written_again(engine: Engine) -> None:
    """A form sends everything that it shows."""
    same = {"name": "Hill Clinic", "idle_minutes": "10", f"pathway.{STEP}": ""}
    change(engine, same)
    change(engine, same)

    assert [("setting", ADMINISTRATOR.name, {"names": ["idle_minutes", "name"]})] == audited(engine)


def test_a_change_is_evidence(engine: Engine) -> None:
    """Who to call in an emergency must not be changed unseen."""
    change(engine, {f"pathway.{STEP}": "Call 1234"}, Actor("Ada", "administrator", "a" * 32))
    with reading(engine) as session:
        verified = verify(session)

    assert (1, ()) == (verified.rows, verified.alterations)


def test_every_fault_is_named_and_nothing_changed(engine: Engine) -> None:
    """A screen that never locks, a name that hides something, a step that does not exist."""
    wrong = {
        "name": "x" * 81,
        "idle_minutes": "61",
        "absolute_hours": "0",
        "impression_first": "on",
        f"pathway.{STEP}": "x" * 501,
        "pathway.gone": "x",
        "pathway.": "x",
        "colour": "red",
    }
    with pytest.raises(BadForm) as fault:
        change(engine, wrong | {f"pathway.{WARNING}": "Ward B"})

    assert {
        "name": "is longer than 80 characters",
        "idle_minutes": "must be a whole number from 2 to 60",
        "absolute_hours": "must be a whole number from 1 to 24",
        "impression_first": "must be yes or no",
        f"pathway.{STEP}": "is longer than 500 characters",
        "pathway.gone": "is not a setting",
        "pathway.": "is not a setting",
        "colour": "is not a setting",
    } == fault.value.faults
    assert (DEFAULTS, []) == (stored(engine), audited(engine))


@pytest.mark.parametrize("wrong", ["", "1", "-5", "1.5", "ten", "٥", "²", "99999", "\x00"])
def test_a_limit_is_a_whole_number(engine: Engine, wrong: str) -> None:
    """Nobody guesses what else was meant."""
    with pytest.raises(BadForm) as fault:
        change(engine, {"idle_minutes": wrong})

    assert ["idle_minutes"] == list(fault.value.faults)


@pytest.mark.parametrize("minutes", ["2", "60"])
def test_the_limits_themselves_are_allowed(engine: Engine, minutes: str) -> None:
    """From two minutes to an hour."""
    change(engine, {"idle_minutes": minutes})

    assert int(minutes) == stored(engine).idle_minutes


def test_a_setting_whose_time_is_over_is_no_reason_to_stop(engine: Engine) -> None:
    """A pathway for a step that newer knowledge does not have is kept and harms nobody."""
    with writing(engine) as session:
        session.add(SettingRow(name="pathway.retired", value="x", by="Ada", at=NOW + MINUTE))

    assert {"retired": "x"} == dict(stored(engine).pathways)


def test_the_settings_of_an_earlier_day_can_be_read(engine: Engine) -> None:
    """What stands on a page that was signed then must not change with what is set now."""
    for minutes, ward in ((0, "Ward B"), (2, "Ward C"), (4, "")):
        with writing(engine) as session:
            changed = {f"pathway.{WARNING}": ward}
            now = NOW + minutes * MINUTE
            change_settings(
                session,
                changed,
                at_revision=settings_revision(session),
                actor=ADMINISTRATOR,
                now=now,
            )

    def at(minutes: int) -> dict[str, str]:
        with reading(engine) as session:
            return dict(clinic_settings(session, at=NOW + minutes * MINUTE).pathways)

    assert [{}, {WARNING: "Ward B"}, {WARNING: "Ward B"}, {WARNING: "Ward C"}, {}] == [
        at(minutes) for minutes in (-1, 0, 1, 3, 5)
    ]


# ---- two administrators

SECOND = Actor("Bo Zweitens", "administrator")


def revision(engine: Engine) -> int:
    """The revision that a page shows now."""
    with reading(engine) as session:
        return settings_revision(session)


def change_at(engine: Engine, changes: dict[str, str], at_revision: int) -> None:
    """Change settings as the second administrator, from an older page."""
    with writing(engine) as session:
        change_settings(session, changes, at_revision=at_revision, actor=SECOND, now=NOW + MINUTE)


def test_the_revision_goes_up_with_what_is_changed_alone(engine: Engine) -> None:
    """So that a press on Save that changes nothing makes no other page an older one."""
    seen = [revision(engine)]
    for changes in ({"name": "Hill Clinic"}, {"name": "Hill Clinic"}, {"idle_minutes": "5"}):
        change(engine, changes)
        seen.append(revision(engine))

    assert 0 == seen[0] < seen[1] == seen[2] < seen[3]


def test_what_somebody_else_set_meanwhile_is_not_set_over(engine: Engine) -> None:
    """Whom to call in an emergency: both texts are told, and nothing of the form is written."""
    seen = revision(engine)
    change(engine, {f"pathway.{STEP}": "Call 1234", "name": "Hill Clinic"})
    before = audited(engine)
    mine = {f"pathway.{STEP}": "Call 5678", "name": "Hill Clinic", "idle_minutes": "5"}
    with pytest.raises(SettingsCollision) as refused:
        change_at(engine, mine, seen)

    theirs = SettingRecord("Call 1234", ADMINISTRATOR.name, NOW)
    assert {f"pathway.{STEP}": theirs} == refused.value.theirs
    assert {f"pathway.{STEP}": "Call 5678"} == refused.value.mine
    assert (before, 10) == (audited(engine), stored(engine).idle_minutes)
    change_at(engine, mine, revision(engine))
    assert ({STEP: "Call 5678"}, 5) == (dict(stored(engine).pathways), stored(engine).idle_minutes)


def test_two_who_set_different_things_do_not_collide(engine: Engine) -> None:
    """As at an exam: only the same one, to something else."""
    seen = revision(engine)
    change(engine, {"name": "Hill Clinic"})
    change_at(engine, {"idle_minutes": "5", "name": "Hill Clinic"}, seen)

    assert ("Hill Clinic", 5) == (stored(engine).name, stored(engine).idle_minutes)


def test_a_setting_that_was_emptied_meanwhile_collides_too(engine: Engine) -> None:
    """Nothing is a value as well."""
    change(engine, {"name": "Hill Clinic"})
    seen = revision(engine)
    change(engine, {"name": ""})
    with pytest.raises(SettingsCollision) as refused:
        change_at(engine, {"name": "Hill and Dale"}, seen)

    assert {"name": ""} == {name: each.value for name, each in refused.value.theirs.items()}


def test_of_two_who_save_at_once_one_is_told(engine: Engine) -> None:
    """Nobody had set it before, so there is no row that one of them could hold."""
    seen = revision(engine)

    def saving(name: str) -> Callable[[Session], object]:
        return lambda session: change_settings(
            session, {"name": name}, at_revision=seen, actor=SECOND, now=NOW
        )

    refused = one_after_the_other(engine, saving("Hill Clinic"), saving("Dale Clinic"))

    assert [SettingsCollision] == [type(each) for each in refused]
    assert "Hill Clinic" == stored(engine).name


def test_a_revision_that_there_never_was_is_refused(engine: Engine) -> None:
    """It would collide with nobody."""
    with pytest.raises(StaleRevision):
        change_at(engine, {"name": "Hill Clinic"}, revision(engine) + 1)


def test_the_settings_of_an_older_page_can_be_read(engine: Engine) -> None:
    """To tell what somebody changed from what somebody else changed."""
    change(engine, {"name": "Hill Clinic"})
    seen = revision(engine)
    change(engine, {"name": "Dale Clinic"})
    with reading(engine) as session:
        assert "Hill Clinic" == clinic_settings(session, at_revision=seen).name
        assert DEFAULTS == clinic_settings(session, at_revision=0)
