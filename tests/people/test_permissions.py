"""The permission table says what the clinic was promised, in every cell, and is read strictly."""

from importlib import resources
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.people.permissions import (
    ACTIONS,
    FILE,
    ROLES,
    SECTIONS,
    STATES,
    BadTable,
    allows,
    cells,
    read_permissions,
)
from app.store.tables import ACCOUNT_ROLES
from app.store.tables import STATES as EXAM_STATES

TEXT = resources.files("app.people").joinpath(FILE).read_text("utf-8")
CLINICAL = {"nurse", "physician"}
PHYSICIAN = {"physician"}
ADMINISTRATOR = {"administrator"}
EVERYBODY = CLINICAL | ADMINISTRATOR
EXAM = {"open", "ready", "signed", "amended"}
UNSIGNED = {"open", "ready"}
SIGNED = {"signed", "amended"}
NO_EXAM = {"none"}
# Written from the description of the program, not from the table: who may do what, in which states.
# What is not here is not allowed.
PROMISED: list[tuple[str, str, set[str], set[str]]] = [
    ("worklist", "read", CLINICAL, NO_EXAM),
    ("patient", "read", CLINICAL, NO_EXAM),
    ("patient", "write", CLINICAL, NO_EXAM),
    ("exam", "read", CLINICAL, NO_EXAM),
    ("exam", "write", CLINICAL, NO_EXAM),
    ("chart", "read", CLINICAL, NO_EXAM | EXAM),
    ("document", "read", CLINICAL, NO_EXAM | EXAM),
    ("nurse_part", "read", CLINICAL, EXAM),
    ("nurse_part", "write", CLINICAL, UNSIGNED),
    ("physician_part", "read", CLINICAL, EXAM),
    ("physician_part", "write", PHYSICIAN, UNSIGNED),
    ("medicines", "read", CLINICAL, EXAM),
    ("medicines", "write", CLINICAL, UNSIGNED),
    ("handover", "read", CLINICAL, UNSIGNED),
    ("handover", "write", CLINICAL, UNSIGNED),
    ("review", "read", PHYSICIAN, UNSIGNED),
    ("review", "write", PHYSICIAN, UNSIGNED),
    ("signature", "read", PHYSICIAN, UNSIGNED),
    ("signature", "write", PHYSICIAN, UNSIGNED),
    ("amendment", "read", PHYSICIAN, SIGNED),
    ("amendment", "write", PHYSICIAN, SIGNED),
    ("registry", "read", PHYSICIAN | ADMINISTRATOR, NO_EXAM),
    ("own_account", "read", EVERYBODY, NO_EXAM),
    ("own_account", "write", EVERYBODY, NO_EXAM),
    ("knowledge", "read", EVERYBODY, NO_EXAM),
    ("verification", "read", EVERYBODY, NO_EXAM),
    ("practice", "read", EVERYBODY, NO_EXAM),
    ("practice", "write", CLINICAL, NO_EXAM),
    ("accounts", "read", ADMINISTRATOR, NO_EXAM),
    ("accounts", "write", ADMINISTRATOR, NO_EXAM),
    ("clinic", "read", ADMINISTRATOR, NO_EXAM),
    ("clinic", "write", ADMINISTRATOR, NO_EXAM),
    ("audit", "read", ADMINISTRATOR, NO_EXAM),
    ("export", "read", ADMINISTRATOR, NO_EXAM),
    ("export", "write", ADMINISTRATOR, NO_EXAM),
    ("emergency_access", "read", ADMINISTRATOR, NO_EXAM),
    ("emergency_access", "write", ADMINISTRATOR, NO_EXAM),
]
# What an administrator may see under emergency access, and nobody ever changes by it.
IN_EMERGENCY = {
    *product(("worklist", "patient"), NO_EXAM),
    *product(("chart", "document"), NO_EXAM | EXAM),
    *product(("nurse_part", "physician_part", "medicines"), EXAM),
}


def promised(role: str, state: str, section: str, action: str, has_emergency_access: bool) -> bool:
    """What the list above says."""
    if has_emergency_access and (role, action) == ("administrator", "read"):
        return (section, state) in IN_EMERGENCY or promised(role, state, section, action, False)
    return any(
        (section, action) == (each, act) and role in roles and state in states
        for each, act, roles, states in PROMISED
    )


def test_every_cell_is_as_promised() -> None:
    """One cell wrong is one person who sees or changes what they must not, or cannot work."""
    wrong = [
        cell
        for cell in cells()
        if cell.is_allowed
        is not promised(cell.role, cell.state, cell.section, cell.action, cell.has_emergency_access)
    ]

    assert [] == wrong


def test_the_cells_are_the_whole_product() -> None:
    """A test of every cell is one of every question that can be asked."""
    asked = [
        (cell.role, cell.state, cell.section, cell.action, cell.has_emergency_access)
        for cell in cells()
    ]
    whole = set(product(ROLES, STATES, SECTIONS, ACTIONS, (False, True)))

    assert len(whole) == len(asked)
    assert whole == set(asked)


def test_roles_and_states_are_those_of_the_records() -> None:
    """Two lists of the same words must not grow apart."""
    assert ACCOUNT_ROLES == ROLES
    assert ("none", *EXAM_STATES) == STATES


questions = st.tuples(*map(st.sampled_from, (ROLES, STATES, SECTIONS)))


@given(questions)
def test_who_may_change_something_may_see_it(question: tuple[str, str, str]) -> None:
    """Nobody changes what they cannot look at."""
    role, state, section = question
    sees, changes = (
        allows(role=role, state=state, section=section, action=action) for action in ACTIONS
    )

    assert sees or not changes


@given(questions)
def test_emergency_access_only_opens_reading(question: tuple[str, str, str]) -> None:
    """It takes no right away and lets nobody change anything."""
    role, state, section = question
    plain, opened = (
        [
            allows(
                role=role,
                state=state,
                section=section,
                action=action,
                has_emergency_access=emergency,
            )
            for action in ACTIONS
        ]
        for emergency in (False, True)
    )

    assert plain[1] == opened[1]
    assert opened[0] or not plain[0]


@given(st.sampled_from(ROLES), st.sampled_from(sorted(SIGNED)), st.booleans())
def test_of_a_signed_exam_nothing_is_changed(role: str, state: str, emergency: bool) -> None:
    """What was signed stands; the one thing left to write is a piece beside it."""
    changed = {
        cell.section
        for cell in cells()
        if (cell.role, cell.state, cell.has_emergency_access) == (role, state, emergency)
        and cell.action == "write"
        and cell.is_allowed
    }

    assert ({"amendment"} if role == "physician" else set()) == changed


@pytest.mark.parametrize(
    ("word", "question"),
    [
        ("doctor", ("doctor", "open", "chart", "read")),
        ("", ("", "open", "chart", "read")),
        ("closed", ("nurse", "closed", "chart", "read")),
        ("Chart", ("nurse", "open", "Chart", "read")),
        ("delete", ("nurse", "open", "chart", "delete")),
    ],
)
def test_a_word_that_the_table_does_not_have_is_an_error(
    word: str, question: tuple[str, str, str, str]
) -> None:
    """A misspelt section must fail when it is tried, not be refused for ever or let through."""
    role, state, section, action = question

    with pytest.raises(ValueError, match=f"^{word!r} is not one of "):
        allows(role=role, state=state, section=section, action=action)


CHART_ROW = (
    '"none, open, ready, signed, amended" = '
    '{ nurse = "read", physician = "read", administrator = "read in an emergency" }'
)
REVIEW_ROW = '"none, signed, amended" = { everybody = "nothing" }'
REVIEW = (
    '[review]\nis = "The page before signing: impression, plan, what is confirmed and acknowledged"'
)


@pytest.mark.parametrize(
    ("was", "written", "says"),
    [
        ("[chart]", "[charts]", "permissions.toml: 'charts' is not one of the sections worklist,"),
        ("[chart]", "[audit]", "permissions.toml: not TOML: "),
        (f"{REVIEW}\n", "[[review]]\n", "permissions.toml: [review]: expected a table"),
        (REVIEW, "[review]", "permissions.toml: [review]: is: expected a sentence"),
        (REVIEW, "[review]\nis = ' '", "permissions.toml: [review]: is: expected a sentence"),
        (
            f"{REVIEW}\n",
            f"{REVIEW}\nclosed = {{ everybody = 'read' }}\n",
            "permissions.toml: [review]: 'closed' is not one of the states none, open,",
        ),
        (
            f"{REVIEW}\n",
            f"{REVIEW}\nopen = {{ everybody = 'read' }}\n",
            "permissions.toml: [review]: open: stands twice",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace("open, ", "open, open, "),
            "permissions.toml: [chart]: open: stands twice",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace("ready, ", ""),
            "permissions.toml: [chart]: ready is missing",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace('nurse = "read", ', ""),
            "permissions.toml: [chart] none: nurse is missing",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace("nurse =", "nurse = 'read', nurse ="),
            "permissions.toml: not TOML: ",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace("nurse =", "doctor ="),
            "permissions.toml: [chart] none: 'doctor' is not one of the roles (or everybody alone)",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace("nurse =", "everybody = 'read', nurse ="),
            "permissions.toml: [chart] none: 'everybody' is not one of the roles (or ",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace('"read",', '"reed",'),
            "permissions.toml: [chart] none: nurse: 'reed' is not one of nothing, read, write,",
        ),
        (
            CHART_ROW,
            CHART_ROW.replace('"read",', "true,"),
            "permissions.toml: [chart] none: nurse: True is not one of nothing, read, write,",
        ),
        (
            CHART_ROW,
            CHART_ROW.partition("{")[0] + "'read'",
            "permissions.toml: [chart] none: expected a right for each role",
        ),
    ],
)
def test_a_fault_in_the_table_names_its_place(was: str, written: str, says: str) -> None:
    """Who edits the table finds the line; a table that is not understood lets nobody in."""
    broken = TEXT.replace(was, written, 1)
    assert broken != TEXT

    with pytest.raises(BadTable) as refused:
        read_permissions(broken)

    assert says == str(refused.value)[: len(says)]


@pytest.mark.parametrize("section", SECTIONS)
def test_a_section_that_is_missing_is_named(section: str) -> None:
    """Nothing is allowed or refused because somebody forgot it."""
    start = TEXT.index(f"[{section}]")
    end = TEXT.find("\n[", start)
    without = TEXT[:start] + (TEXT[end:] if end > 0 else "")

    with pytest.raises(BadTable, match=f"^permissions.toml: {section} is missing$"):
        read_permissions(without)


def test_every_section_says_what_it_is() -> None:
    """An administrator reads the table, and no two sections may read alike."""
    meanings = read_permissions(TEXT).meanings

    assert SECTIONS == tuple(meanings)
    assert len(SECTIONS) == len(set(meanings.values()))
