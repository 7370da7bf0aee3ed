"""Accounts: who may sign in, and that there is always somebody who can let others in."""

from collections.abc import Callable

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from app.store.account_changes import LAST_ADMINISTRATOR, add_account, change_account
from app.store.accounts import (
    Account,
    account,
    account_named,
    account_with_key,
    accounts,
    has_accounts,
    has_demo_accounts,
    sign_in_key,
)
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.identities import link_identity, unlink_identity
from app.store.invitations import invitation, invite
from app.store.proofs import keep_rehash, set_password, set_second_factor, use_step
from app.store.refusals import AccountCollision, BadForm, NotFound
from tests.store.clinic import MINUTE, NOW
from tests.store.people import (
    ADMINISTRATOR,
    an_account,
    audited,
    one_after_the_other,
    signed_in,
    stored_account,
    stored_sign_in,
)

LATER = NOW + MINUTE


def add(
    engine: Engine, name: str, printed_name: str, role: str, oidc_key: str | None = None
) -> Account:
    """Add an account as the administrator does."""
    with writing(engine) as session:
        return add_account(
            session, name, printed_name, role, actor=ADMINISTRATOR, now=NOW, oidc_key=oidc_key
        )


def change(session: Session, whose: Account, **changed: object) -> Account:
    """Change some of an account, and leave the rest as it is."""
    asked = {
        "printed_name": whose.printed_name,
        "role": whose.role,
        "is_active": whose.is_active,
        "at_revision": whose.revision,
    } | changed
    return change_account(session, whose.id, **asked, actor=ADMINISTRATOR, now=LATER)  # type: ignore[arg-type]


def test_a_new_database_has_no_account(engine: Engine) -> None:
    """An account that comes with the program would be a door that everybody knows."""
    with reading(engine) as session:
        assert ([], False, False) == (
            accounts(session),
            has_accounts(session),
            has_demo_accounts(session),
        )


def test_an_account_is_kept_as_it_was_added(engine: Engine) -> None:
    """Active, with the names tidied, and with nothing yet that proves who somebody is."""
    added = add(engine, " Nurse.Ngozi ", "Ngozi  Testwell", "nurse", oidc_key="https://id|77")
    expected = Account(
        added.id, "Nurse.Ngozi", "Ngozi Testwell", "nurse", True, None, None, None,
        "https://id|77", NOW, 0,
    )  # fmt: skip

    assert expected == added == stored_account(engine, added.id)
    with reading(engine) as session:
        assert added == account_named(session, "nurse.NGOZI ")
        assert added == account_with_key(session, "https://id|77")
        assert has_accounts(session)
    told = {"account": added.id, "sign_in_name": "Nurse.Ngozi", "role": "nurse"}
    assert [("add_account", ADMINISTRATOR.name, told)] == audited(engine)


def test_accounts_are_listed_by_sign_in_name(engine: Engine) -> None:
    """Whatever their case, on both databases."""
    for name in ("b", "C", "a"):
        an_account(engine, name)
    with reading(engine) as session:
        assert ["a", "b", "C"] == [each.sign_in_name for each in accounts(session)]


@pytest.mark.parametrize("wrong", ["nobody", "", "\x00", "\ud800", "x" * 101])
def test_nobody_is_found_under_another_name(engine: Engine, wrong: str) -> None:
    """Anything may be typed; no database sees what it could not keep."""
    an_account(engine)
    with reading(engine) as session:
        assert account_named(session, wrong) is None
        with pytest.raises(NotFound, match="no such account"):
            account(session, wrong)


def test_names_that_look_alike_have_one_key() -> None:
    """Nobody could tell two such people apart in the audit."""
    assert sign_in_key("Bríd") == sign_in_key("  BRI\u0301D ")
    assert sign_in_key("ngozi") == sign_in_key("ｎｇｏｚｉ")
    assert sign_in_key("bríd") != sign_in_key("brid")


def test_every_fault_of_a_new_account_is_named(engine: Engine) -> None:
    """The form shows all of them at once."""
    with pytest.raises(BadForm) as fault:
        add(engine, "", "\x00", "porter")

    assert {
        "sign_in_name": "the sign-in name is missing",
        "printed_name": "the name holds a character that cannot be kept (U+0000)",
        "role": "choose one of nurse, physician, administrator",
    } == fault.value.faults
    assert [] == audited(engine)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("NURSE.ngozi", "this sign-in name is taken"),
        ("nurse ngozi", "the sign-in name has a space in it"),
        ("...", "the sign-in name has no letter or digit"),
        ("x" * 101, "the sign-in name is longer than 100 characters"),
        ("Demo-nurse", "names that begin with demo- are for the demonstration"),
        ("ＤＥＭＯ-nurse", "names that begin with demo- are for the demonstration"),
    ],
)
def test_a_sign_in_name_is_one_persons(engine: Engine, name: str, says: str) -> None:
    """It is typed at every sign-in, and says who did what."""
    an_account(engine)
    with pytest.raises(BadForm) as fault:
        add(engine, name, "Somebody Else", "nurse")

    assert {"sign_in_name": says} == fault.value.faults


def test_an_identity_of_the_provider_is_one_accounts(engine: Engine) -> None:
    """Otherwise it would not be clear who signs in with it."""
    add(engine, "a", "A", "nurse", oidc_key="https://id|77")
    with pytest.raises(BadForm) as fault:
        add(engine, "b", "B", "nurse", oidc_key="https://id|77")

    assert ["oidc_key"] == list(fault.value.faults)


@pytest.mark.parametrize(
    ("name", "key", "fault"), [("A", None, "sign_in_name"), ("b", "https://id|77", "oidc_key")]
)
def test_of_two_who_add_the_same_at_once_one_is_told(
    engine: Engine, name: str, key: str | None, fault: str
) -> None:
    """The second waits for the first, and sees no error of the database."""

    def adding(name: str, key: str | None) -> Callable[[Session], object]:
        return lambda session: add_account(
            session, name, "Name", "nurse", actor=PROGRAM, now=NOW, oidc_key=key
        )

    refused = one_after_the_other(engine, adding("a", "https://id|77"), adding(name, key))

    assert [[fault]] == [list(each.faults) for each in refused if isinstance(each, BadForm)]
    with reading(engine) as session:
        assert ["a"] == [each.sign_in_name for each in accounts(session)]


def test_a_new_name_leaves_the_sign_ins_as_they_are(engine: Engine) -> None:
    """Who marries goes on working."""
    whose = an_account(engine)
    held = signed_in(engine, whose, "one")
    with writing(engine) as session:
        changed = change(session, whose, printed_name="Ngozi Neu")

    assert ("Ngozi Neu", held) == (changed.printed_name, stored_sign_in(engine, "one"))
    told = {"account": whose.id, "printed_name": "Ngozi Neu"}
    assert ("change_account", ADMINISTRATOR.name, told) == audited(engine)[-1]


def test_a_change_to_the_same_is_none(engine: Engine) -> None:
    """The audit holds acts only."""
    whose = an_account(engine)
    before = audited(engine)
    with writing(engine) as session:
        assert whose == change(session, whose)

    assert before == audited(engine)


@pytest.mark.parametrize("changed", [{"is_active": False}, {"role": "physician"}])
def test_who_is_let_in_no_longer_is_out_at_once(engine: Engine, changed: dict[str, object]) -> None:
    """Everywhere; what somebody may do must not outlast their role. Others are not touched."""
    whose, other = an_account(engine), an_account(engine, "other")
    for token, each in (("one", whose), ("two", whose), ("three", other)):
        signed_in(engine, each, token)
    with writing(engine) as session:
        change(session, whose, **changed)

    ends = [stored_sign_in(engine, token).ended_at for token in ("one", "two", "three")]
    assert [LATER, LATER, None] == ends


def test_a_faulty_change_changes_nothing(engine: Engine) -> None:
    """Each fault is named."""
    whose = an_account(engine)
    with pytest.raises(BadForm) as fault, writing(engine) as session:
        change(session, whose, printed_name=" ", role="porter", is_active=False)

    assert ["printed_name", "role"] == list(fault.value.faults)
    assert whose == stored_account(engine, whose.id)


@pytest.mark.parametrize(
    ("changed", "place"), [({"is_active": False}, "is_active"), ({"role": "nurse"}, "role")]
)
def test_the_last_administrator_stays(
    engine: Engine, changed: dict[str, object], place: str
) -> None:
    """Otherwise nobody could let anybody in. One who was never given a password is none."""
    last = an_account(engine, "last", "administrator")
    invited = an_account(engine, "invited", "administrator", password=None)
    an_account(engine, "nurse", "nurse")
    with writing(engine) as session:
        change(session, invited, is_active=False)
    with pytest.raises(BadForm) as fault, writing(engine) as session:
        change(session, last, **changed)

    assert {place: LAST_ADMINISTRATOR} == fault.value.faults
    assert last == stored_account(engine, last.id)


def test_one_who_signs_in_with_the_provider_is_an_administrator_too(engine: Engine) -> None:
    """A password is not the only way in."""
    first = an_account(engine, "first", "administrator")
    add(engine, "second", "Second", "administrator", oidc_key="https://id|77")
    with writing(engine) as session:
        change(session, first, is_active=False)

    assert not stored_account(engine, first.id).is_active


def test_two_administrators_cannot_shut_each_other_out_at_once(engine: Engine) -> None:
    """Each leaves the other, and both together would leave nobody."""
    first = an_account(engine, "first", "administrator")
    second = an_account(engine, "second", "administrator")
    refused = one_after_the_other(
        engine,
        lambda session: change(session, second, is_active=False),
        lambda session: change(session, first, role="nurse"),
    )

    assert [{"role": LAST_ADMINISTRATOR}] == [
        each.faults for each in refused if isinstance(each, BadForm)
    ]
    assert first == stored_account(engine, first.id)


def test_a_change_from_an_older_page_is_refused_with_what_stands_now(engine: Engine) -> None:
    """The second administrator sees what the first one did, and decides; nothing is written."""
    whose = an_account(engine)
    with writing(engine) as session:
        first = change(session, whose, role="physician")
    before = audited(engine)
    with pytest.raises(AccountCollision) as refused, writing(engine) as session:
        change(session, whose, printed_name="Ngozi Neu")

    assert first == refused.value.theirs == stored_account(engine, whose.id)
    assert before == audited(engine)
    with writing(engine) as session:
        change(session, first, printed_name="Ngozi Neu")
    kept = stored_account(engine, whose.id)
    assert ("Ngozi Neu", "physician") == (kept.printed_name, kept.role)


def test_who_asks_for_what_stands_by_now_collides_with_nobody(engine: Engine) -> None:
    """Both closed the account; one of them was first."""
    whose = an_account(engine)
    for _ in range(2):
        with writing(engine) as session:
            change(session, whose, is_active=False)

    assert not stored_account(engine, whose.id).is_active


def test_of_two_who_change_an_account_at_once_one_is_told(engine: Engine) -> None:
    """The second waits for the first, and then looks."""
    whose = an_account(engine)
    refused = one_after_the_other(
        engine,
        lambda session: change(session, whose, is_active=False),
        lambda session: change(session, whose, role="physician"),
    )

    assert [AccountCollision] == [type(each) for each in refused]
    kept = stored_account(engine, whose.id)
    assert (False, "nurse") == (kept.is_active, kept.role)


def test_whatever_the_page_of_an_account_shows_raises_its_revision(engine: Engine) -> None:
    """A code, a password, a factor, an identity; a press that was made before it is refused."""
    whose = an_account(engine)

    def coded(session: Session, revision: int | None) -> None:
        invite(
            session, whose.id, f"code {revision}", LATER, at_revision=revision,
            actor=ADMINISTRATOR, now=NOW,
        )  # fmt: skip

    def factored(session: Session, revision: int | None) -> None:
        set_second_factor(
            session, whose.id, "S1", at_revision=revision, actor=ADMINISTRATOR, now=NOW
        )

    changes: tuple[Callable[[Session], object], ...] = (
        lambda session: coded(session, None),
        lambda session: factored(session, None),
        lambda session: set_password(session, whose.id, "n", actor=ADMINISTRATOR, now=NOW),
        lambda session: link_identity(session, whose.id, "i|7", actor=ADMINISTRATOR, now=NOW),
        lambda session: unlink_identity(session, whose.id, actor=ADMINISTRATOR, now=NOW),
    )
    for made in changes:
        seen = stored_account(engine, whose.id)
        with writing(engine) as session:
            made(session)
        before = audited(engine)
        for late in (coded, factored):
            with pytest.raises(AccountCollision), writing(engine) as session:
                late(session, seen.revision)

        assert seen.revision + 1 == stored_account(engine, whose.id).revision
        assert before == audited(engine)


def test_of_two_who_make_a_code_at_once_one_is_told(engine: Engine) -> None:
    """The code of the first may be on its way to the person already."""
    whose = an_account(engine)

    def making(code: str) -> Callable[[Session], object]:
        return lambda session: invite(
            session, whose.id, code, LATER, at_revision=whose.revision, actor=ADMINISTRATOR, now=NOW
        )

    refused = one_after_the_other(engine, making("first"), making("second"))

    assert [AccountCollision] == [type(each) for each in refused]
    with reading(engine) as session:
        assert whose.id == invitation(session, "first", NOW).account_id


def test_a_new_password_ends_what_rests_on_the_old_one(engine: Engine) -> None:
    """All sign-ins but the one that asked, and every code to set one."""
    whose = an_account(engine)
    for token in ("one", "two"):
        signed_in(engine, whose, token)
    with writing(engine) as session:
        invite(session, whose.id, "code", LATER + MINUTE, actor=ADMINISTRATOR, now=NOW)
        set_password(session, whose.id, "new", actor=ADMINISTRATOR, now=LATER, keep="two")

    assert "new" == stored_account(engine, whose.id).password_hash
    assert [LATER, None] == [stored_sign_in(engine, token).ended_at for token in ("one", "two")]
    with reading(engine) as session, pytest.raises(NotFound, match="not valid"):
        invitation(session, "code", LATER)
    assert ("set_password", ADMINISTRATOR.name, {"account": whose.id}) == audited(engine)[-1]
    with writing(engine) as session:
        set_password(session, whose.id, "newer", actor=ADMINISTRATOR, now=LATER)
    assert LATER == stored_sign_in(engine, "two").ended_at


def test_a_stronger_hash_never_brings_an_old_password_back(engine: Engine) -> None:
    """Another password may have been set while the old one was being checked."""
    whose = an_account(engine, password="weak")
    with writing(engine) as session:
        keep_rehash(session, whose.id, "strong", replaces="weak")
    kept = stored_account(engine, whose.id).password_hash
    with writing(engine) as session:
        set_password(session, whose.id, "another", actor=PROGRAM, now=NOW)
        keep_rehash(session, whose.id, "stronger", replaces="strong")

    assert ("strong", "another") == (kept, stored_account(engine, whose.id).password_hash)


def test_hashes_and_secrets_stay_out_of_logs_and_the_audit(engine: Engine) -> None:
    """What is written about an account is read by others."""
    whose = an_account(engine, password="argon-hash")
    with writing(engine) as session:
        set_second_factor(session, whose.id, "TOTPSECRET", at_revision=None, actor=PROGRAM, now=NOW)
    written = repr(stored_account(engine, whose.id)) + repr(audited(engine))

    assert "argon-hash" not in written
    assert "TOTPSECRET" not in written


def test_a_second_factor_is_set_and_taken_away(engine: Engine) -> None:
    """A new secret begins its steps anew."""
    whose = an_account(engine)
    seen = []
    for secret in ("S1", "S2", None):
        with writing(engine) as session:
            set_second_factor(
                session, whose.id, secret, at_revision=None, actor=ADMINISTRATOR, now=NOW
            )
            used = use_step(session, whose.id, 5)
        held = stored_account(engine, whose.id)
        seen.append((held.totp_secret, used, held.totp_counter))

    assert [("S1", True, 5), ("S2", True, 5), (None, False, None)] == seen
    assert [True, True, False] == [
        told["is_set"] for action, _, told in audited(engine) if action == "second_factor"
    ]


def test_a_step_of_the_second_factor_is_used_once(engine: Engine) -> None:
    """A code that somebody looked over the shoulder for is worth nothing afterwards."""
    whose = an_account(engine)
    with writing(engine) as session:
        set_second_factor(session, whose.id, "S1", at_revision=None, actor=PROGRAM, now=NOW)
        used = [use_step(session, whose.id, step) for step in (7, 7, 6, 8)]

    assert [True, False, False, True] == used


def test_of_two_who_use_a_step_at_once_one_does(engine: Engine) -> None:
    """The one who looked over the shoulder may be fast."""
    whose = an_account(engine)
    used: list[bool] = []
    with writing(engine) as session:
        set_second_factor(session, whose.id, "S1", at_revision=None, actor=PROGRAM, now=NOW)

    def use(session: Session) -> None:
        used.append(use_step(session, whose.id, 7))

    assert [] == one_after_the_other(engine, use, use)
    assert [True, False] == used
