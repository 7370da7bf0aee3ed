"""The audit in words: what somebody did, and what more is known of it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from app.report.phrases import day
from app.store.audit_list import Happened
from app.web.admin_pages import AuditLine
from app.web.noted import IN_EMERGENCY
from app.web.wording import local, minute

# Every act that the program notes, in words that follow a name.
ACTIONS: Mapping[str, str] = {
    "read": "opened a chart",
    "worklist": "opened the list of exams",
    "print": "made or fetched a PDF",
    "leaflet": "made the page for the patient",
    "note": "opened a note",
    "fhir": "made a FHIR document",
    "registry": "opened the counts",
    "export": "exported signed exams",
    "import": "imported exams",
    "search": "searched for a patient",
    "record": "recorded",
    "review": "reviewed",
    "start": "started an exam",
    "add_patient": "added a patient",
    "hand_over": "handed an exam over",
    "take_back": "took an exam back",
    "sign": "signed an exam",
    "amend": "signed an amendment",
    "seen_alert": "opened an exam with an emergency",
    "emergency_access": "opened charts in an emergency",
    "emergency_access_end": "ended emergency access",
    "sign_in": "signed in",
    "sign_in_refused": "was not let in",
    "sign_out": "signed out",
    "switch": "made room for somebody else",
    "lock": "locked the screen",
    "unlock": "unlocked the screen",
    "refused": "was refused",
    "add_account": "added an account",
    "change_account": "changed an account",
    "invite": "made a code",
    "set_password": "set a password",
    "second_factor": "changed a second factor",
    "setting": "changed the clinic’s settings",
    "verify": "checked the audit",
    "verify_page": "checked a PDF that came back",
    "backup": "made a backup",
    "restore": "restored a backup",
    "begin": "took the entries that were there into the audit",
}
# What a fact is called where its own name is no word; "" where the value says it all.
_CALLED = {
    "account": "",
    "examined_at": "examined on paper",
    "examined_by": "by",
    "is_active": "may sign in",
    "is_set": "set",
    "printed_name": "name",
    "sign_in_name": "sign-in name",
    "names": "",
    "method": "",
    "route": "",
    "status": "answer",
    "why": "",
    "found": "",
    "seal": "with the seal’s key",
    "made_at": "made",
}
_VALUES = {
    "proof": "the name, the password or the code was not right",
    "wait": "too soon after wrong tries",
}


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
        role=each.role,
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
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return _VALUES.get(str(value), str(value))
