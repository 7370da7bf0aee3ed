"""The audit in words: what somebody did, and what more is known of it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from app.knowledge.terms import ROLE_WORDS
from app.language.words import N_, Spoken, _
from app.report.phrases import day
from app.store.audit_list import Happened
from app.web.admin_pages import AuditLine
from app.web.noted import IN_EMERGENCY
from app.web.wording import local, minute

# Every act that the program notes, in words that follow a name.
ACTIONS: Mapping[str, str] = Spoken(
    {
        "read": N_("opened a chart"),
        "worklist": N_("opened the list of exams"),
        "print": N_("made or fetched a PDF"),
        "leaflet": N_("made the page for the patient"),
        "note": N_("opened a note"),
        "fhir": N_("made a FHIR document"),
        "registry": N_("opened the counts"),
        "export": N_("exported signed exams"),
        "import": N_("imported exams"),
        "search": N_("searched for a patient"),
        "record": N_("recorded"),
        "review": N_("reviewed"),
        "start": N_("started an exam"),
        "add_patient": N_("added a patient"),
        "hand_over": N_("handed an exam over"),
        "take_back": N_("took an exam back"),
        "sign": N_("signed an exam"),
        "amend": N_("signed an amendment"),
        "seen_alert": N_("opened an exam with an emergency"),
        "emergency_access": N_("opened charts in an emergency"),
        "emergency_access_end": N_("ended emergency access"),
        "sign_in": N_("signed in"),
        "sign_in_refused": N_("was not let in"),
        "sign_out": N_("signed out"),
        "switch": N_("made room for somebody else"),
        "lock": N_("locked the screen"),
        "unlock": N_("unlocked the screen"),
        "refused": N_("was refused"),
        "add_account": N_("added an account"),
        "change_account": N_("changed an account"),
        "invite": N_("made a code"),
        "set_password": N_("set a password"),
        "second_factor": N_("changed a second factor"),
        "setting": N_("changed the clinic’s settings"),
        "verify": N_("checked the audit"),
        "verify_page": N_("checked a PDF that came back"),
        "backup": N_("made a backup"),
        "restore": N_("restored a backup"),
        "begin": N_("took the entries that were there into the audit"),
    }
)
# What a fact is called where its own name is no word; "" where the value says it all.
_CALLED = Spoken(
    {
        "account": "",
        "examined_at": N_("examined on paper"),
        "examined_by": N_("by"),
        "is_active": N_("may sign in"),
        "is_set": N_("set"),
        "printed_name": N_("name"),
        "sign_in_name": N_("sign-in name"),
        "names": "",
        "method": "",
        "route": "",
        "status": N_("answer"),
        "why": "",
        "found": "",
        "seal": N_("with the seal’s key"),
        "made_at": N_("made"),
    }
)
_VALUES = Spoken(
    {
        "proof": N_("the name, the password or the code was not right"),
        "wait": N_("too soon after wrong tries"),
    }
)


def audit_line(each: Happened, names: Mapping[str, str]) -> AuditLine:
    """One row. names: of the accounts, by their id."""
    at = local(each.at)
    facts = {name: value for name, value in each.detail.items() if name != IN_EMERGENCY}
    more = [_fact(name, value, names) for name, value in facts.items()]
    return AuditLine(
        number=each.number,
        day=day(at),
        time=f"{at:%H:%M:%S}",
        who=each.name,
        role=ROLE_WORDS.get(each.role, each.role),
        what=ACTIONS.get(each.action, each.action),
        in_emergency=IN_EMERGENCY in each.detail,
        more=each.reason or ", ".join(more),
        chart_number=each.chart_number,
        exam=each.exam_id[:8],
        source=each.source,
    )


def _fact(name: str, value: Any, names: Mapping[str, str]) -> str:
    if name == "account":
        value = names.get(value, value)
    if name == "examined_at":
        value = minute(datetime.fromisoformat(value))
    words = _CALLED.get(name, name.replace("_", " "))
    return f"{words} {_plain(value)}".strip()


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return _VALUES.get(str(value), str(value))
