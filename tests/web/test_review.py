"""Reviewing and signing over HTTP: what is shown, what is kept, what never signs."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from html import unescape
from threading import Thread
from typing import Any

import pytest

from app.knowledge.load import knowledge
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.review import Review, StepDecision, record_review, review_of
from app.store.signatures import Signature, document, signatures
from app.store.verify import verify
from tests.report.reading import words_of
from tests.store.clinic import wait_until_blocked
from tests.web.clinic import COLLEAGUE, HTMX, PASSWORD, PHYSICIAN, Clinic

TREMOR = (
    ("finger_tap_slow", "right", "2"),
    ("finger_tap_decrement", "right", "2"),
    ("rest_tremor_hand", "right", "1"),
)
# What a nurse may record, and a pattern rests on.
WALK = (
    ("painful_limp", "right", "2"),
    ("foot_drop", "left", "2"),
    ("stiff_leg_swing", "left", "1"),
)
WORDS = {
    "impression": "Slow RIGHT hand with a rest tremor.",
    "plan": "Refer, and see in six weeks.",
}
# Aurelia Lindqvist, born 1951; and who signs.
PROOF = {"initials": "AL", "birth_year": "1951", "password": PASSWORD}


def examined(clinic: Clinic, *cells: tuple[str, str, str], by: Clinic | None = None) -> str:
    """An exam with these cells, recorded by somebody; its id."""
    exam_id = clinic.new_exam()
    for cell in cells:
        assert 200 == (by or clinic).cell(exam_id, *cell).status_code
    return exam_id


def opened(clinic: Clinic, exam_id: str) -> dict[str, str]:
    """The form of the review as a browser without scripts would send it, nothing changed."""
    page = clinic.get(f"/exams/{exam_id}/review").text
    form = dict(re.findall(r'name="(revision|saved)" value="(\d+)"', page))
    for name, checked in re.findall(
        r'type="checkbox"\s+name="([\w.]+)"\s+value="yes"([^>]*)', page
    ):
        if "checked" in checked:
            form[name] = "yes"
    for name in ("impression", "plan"):
        kept = re.search(rf'<textarea[^>]*name="{name}"[^>]*>([^<]*)', page)
        assert kept
        form[name] = kept[1]
    return form


def settled(clinic: Clinic, exam_id: str) -> dict[str, str]:
    """The same with everything settled and signed for."""
    page = clinic.get(f"/exams/{exam_id}/review").text
    ticks = dict.fromkeys(re.findall(r'type="checkbox"\s+name="([\w.]+)"', page), "yes")
    steps = dict.fromkeys(re.findall(r'name="(step\.\w+)"', page), "taken")
    return opened(clinic, exam_id) | ticks | steps | WORDS | PROOF


def send(
    clinic: Clinic, exam_id: str, form: Mapping[str, str], to: str = "sign", **more: Any
) -> Any:
    """Send the form of the review."""
    return clinic.client.post(f"/exams/{exam_id}/{to}", data=dict(form), **more)


def kept(clinic: Clinic, exam_id: str) -> Review:
    """The review as the database has it."""
    with reading(clinic.app.state.engine) as session:
        return review_of(session, exam_id)


def note_of(clinic: Clinic, exam_id: str) -> str:
    """The text note, in one line."""
    return " ".join(unescape(clinic.get(f"/exams/{exam_id}/note").text).split())


def signed(clinic: Clinic, exam_id: str) -> list[Signature]:
    """The signatures of the exam."""
    with reading(clinic.app.state.engine) as session:
        return signatures(session, exam_id)


# ---- the page


def test_the_page_lists_what_was_recorded_and_what_was_not(clinic: Clinic) -> None:
    """Everything is read before it is signed; what nobody examined is said to be so."""
    exam_id = examined(clinic, *TREMOR)
    page = clinic.get(f"/exams/{exam_id}/review").text

    assert "RIGHT (patient’s)" in page
    assert "not examined" in page
    assert "All of:" in page
    assert "Write the impression in your own words" in page


def test_a_step_that_follows_from_a_finding_names_it(clinic: Clinic) -> None:
    """No category and no warning stands behind it: the page failed, the panel said falls."""
    exam_id = examined(clinic, ("hx_memory", "", "yes"))
    page = clinic.get(f"/exams/{exam_id}/review")

    assert 200 == page.status_code
    step = page.text.partition('name="step.check_cognition"')[0].rpartition("suggestion")[2]
    assert "Decline in memory or thinking" in step
    panel = clinic.get(f"/exams/{exam_id}").text.partition("Consider a test of memory")[2]
    assert panel.partition("</li>")[0].count("Decline in memory or thinking")


def test_a_nurse_does_not_review(clinic: Clinic) -> None:
    """The review is the physician's."""
    exam_id = examined(clinic, *TREMOR)

    assert 403 == clinic.nurse.get(f"/exams/{exam_id}/review").status_code
    assert 403 == send(clinic.nurse, exam_id, {"revision": "3", "saved": "3"}).status_code
    assert [] == signed(clinic, exam_id)


# ---- codes for the summary


def test_chosen_codes_stand_on_the_signed_page_and_in_the_note(clinic: Clinic) -> None:
    """None is chosen by anybody but the physician; without a tick there is none."""
    exam_id = examined(clinic, *TREMOR, ("foot_drop", "left", "2"))
    page = clinic.get(f"/exams/{exam_id}/review").text
    form = settled(clinic, exam_id) | {"codes": "shown"}
    del form["code.M21.372"]

    assert re.search(r'name="code\.G20\.C" value="yes"\s+aria', " ".join(page.split()))
    assert 303 == send(clinic, exam_id, form).status_code
    assert ("G20.C",) == kept(clinic, exam_id).codes
    assert "Codes chosen (ICD-10-CM): G20.C" in note_of(clinic, exam_id)
    text = " ".join(words_of(clinic.get(f"/exams/{exam_id}/pdf").content))
    assert "G20.C Parkinsonism, unspecified" in text
    assert "M21.372" not in text


def test_a_code_that_nothing_asks_for_any_more_says_so_and_clashes_are_named(
    clinic: Clinic,
) -> None:
    """What else was typed is kept; which of the two codes is meant the physician says."""
    exam_id = examined(clinic, ("standing_leg_tremor", "", "yes"))
    form = opened(clinic, exam_id) | {"codes": "shown", "code.R25.1": "yes"}
    send(clinic, exam_id, form, "review")
    assert ("R25.1",) == kept(clinic, exam_id).codes

    for cell in TREMOR:
        clinic.cell(exam_id, *cell)
    page = clinic.get(f"/exams/{exam_id}/review").text
    form = opened(clinic, exam_id) | {"codes": "shown", "code.G20.C": "yes", "code.R25.1": "yes"}
    answer = send(clinic, exam_id, form | WORDS, "review", headers=HTMX)

    assert "nothing recorded asks for it any more" in page
    assert 422 == answer.status_code
    assert "R25.1 never stands beside G20.C" in answer.text
    assert (("R25.1",), WORDS["plan"]) == (
        kept(clinic, exam_id).codes,
        kept(clinic, exam_id).plan,
    )


# ---- for the patient


def test_the_page_for_the_patient_follows_from_what_was_signed(clinic: Clinic) -> None:
    """Only steps that were taken over, and a pattern only in the physician's own words."""
    exam_id = examined(clinic, *TREMOR)
    assert 409 == clinic.get(f"/exams/{exam_id}/leaflet").status_code
    form = settled(clinic, exam_id) | {
        "for_patient": "This looks like parkinsonism.",
        "step.avoid_dopamine_blockers": "declined",
        "reason.avoid_dopamine_blockers": "takes none",
    }
    assert 303 == send(clinic, exam_id, form).status_code
    answer = clinic.nurse.get(f"/exams/{exam_id}/leaflet")
    text, words = " ".join(words_of(answer.content)), knowledge().leaflet.next

    assert "application/pdf" == answer.headers["content-type"]
    assert "This looks like parkinsonism." in text
    assert words["refer_movement_untreated"] in text
    assert words["avoid_dopamine_blockers"] not in text
    assert "Written for the patient" in " ".join(
        words_of(clinic.get(f"/exams/{exam_id}/pdf").content)
    )


# ---- deciding


def test_decisions_are_kept_as_they_are_made(clinic: Clinic) -> None:
    """With scripts each change is sent; the fields themselves are not replaced by the answer."""
    exam_id = examined(clinic, *TREMOR)
    form = opened(clinic, exam_id) | {"impression": "Slow hand"}
    answer = send(clinic, exam_id, form, "review", headers=HTMX)

    assert 200 == answer.status_code
    assert "<textarea" not in answer.text
    assert "Write the plan" in answer.text
    assert "Write the impression" not in answer.text
    assert "Slow hand" == kept(clinic, exam_id).impression


def test_a_declined_step_needs_its_reason_and_the_rest_is_kept(clinic: Clinic) -> None:
    """Nothing that was typed is lost for want of a reason elsewhere."""
    exam_id = examined(clinic, *TREMOR)
    step = "refer_movement_untreated"
    form = opened(clinic, exam_id) | WORDS | {f"step.{step}": "declined"}
    answer = send(clinic, exam_id, form, "review", headers=HTMX)

    assert 422 == answer.status_code
    assert "Say why it is declined" in answer.text
    assert WORDS["impression"] == kept(clinic, exam_id).impression
    assert {} == kept(clinic, exam_id).steps

    form = opened(clinic, exam_id) | {f"step.{step}": "declined", f"reason.{step}": "under care"}
    assert 303 == send(clinic, exam_id, form, "review").status_code
    assert {step: StepDecision(False, "under care")} == kept(clinic, exam_id).steps


def test_a_decision_can_be_taken_back(clinic: Clinic) -> None:
    """An empty tick is a decision where there was one to tick."""
    exam_id = examined(clinic, *WALK, by=clinic.nurse)
    ticks = [name for name in settled(clinic, exam_id) if name.startswith("confirmed.")]
    assert 3 == len(ticks)
    send(clinic, exam_id, opened(clinic, exam_id) | dict.fromkeys(ticks, "yes"), "review")
    assert 3 == len(kept(clinic, exam_id).confirmed)
    form = opened(clinic, exam_id)
    del form[ticks[0]]
    send(clinic, exam_id, form, "review")

    assert 2 == len(kept(clinic, exam_id).confirmed)


def test_two_who_review_do_not_take_back_what_the_other_decided(clinic: Clinic) -> None:
    """An empty tick on an older page is not a decision; what was typed stands there still."""
    exam_id = examined(clinic, *WALK, by=clinic.nurse)
    old = opened(clinic, exam_id)
    send(clinic.colleague, exam_id, settled(clinic.colleague, exam_id), "review")
    answer = send(clinic, exam_id, old | {"impression": "Mine"}, "review")

    assert 409 == answer.status_code
    assert "Somebody else is reviewing this exam too" in answer.text
    assert ">Mine</textarea>" in answer.text
    assert 3 == len(kept(clinic, exam_id).confirmed)


def test_a_decision_that_falls_between_is_not_taken_back(clinic: Clinic) -> None:
    """A colleague decides after our page was sent and before it is kept: nothing of ours is."""
    exam_id = examined(clinic, *TREMOR)
    mine = opened(clinic, exam_id) | {"impression": "Mine"}
    answers: list[Any] = []
    sends = Thread(target=lambda: answers.append(send(clinic, exam_id, mine, "review")))
    with writing(clinic.app.state.engine) as session:
        record_review(
            session, exam_id, {("impression", ""): "Theirs"},
            at_revision=int(mine["revision"]),
            recorder=Recorder(COLLEAGUE.name, COLLEAGUE.role),
            now=datetime.now(UTC),
        )  # fmt: skip
        sends.start()
        wait_until_blocked(clinic.app.state.engine, sends)
    sends.join()

    assert [409] == [answer.status_code for answer in answers]
    assert ">Mine</textarea>" in answers[0].text
    assert "Theirs" == kept(clinic, exam_id).impression


# ---- signing


def test_a_settled_review_is_signed_and_kept_with_its_page(clinic: Clinic) -> None:
    """Signature, bytes and state in one; the exam can be read and no longer written."""
    exam_id = examined(clinic, *TREMOR)
    answer = send(clinic, exam_id, settled(clinic, exam_id))

    assert 303 == answer.status_code, answer.text
    (signature,) = signed(clinic, exam_id)
    assert ("exam", PHYSICIAN.name, "physician") == (
        *(signature.kind, signature.printed_name, signature.role),
    )
    assert "signed" == clinic.stored(exam_id).state
    with reading(clinic.app.state.engine) as session:
        page = document(session, signature.document_sha256)
        assert () == verify(session).alterations
    fetched = clinic.get(f"/exams/{exam_id}/documents/0")
    assert page.content == fetched.content
    assert page.content == clinic.get(f"/exams/{exam_id}/pdf").content
    assert fetched.headers["content-disposition"].endswith('-0-SIGNED.pdf"')


def test_a_signed_exam_offers_nothing_to_enter(clinic: Clinic) -> None:
    """The sheet of a signed exam would only collect what cannot be kept."""
    exam_id = examined(clinic, *TREMOR)
    send(clinic, exam_id, settled(clinic, exam_id))
    page = clinic.get(f"/exams/{exam_id}").text

    assert "SIGNED" in page
    assert WORDS["impression"].split()[0] in page
    assert not re.search(r'<input(?![^>]*type="hidden")[^>]*name="value', page)
    assert 409 == clinic.cell(exam_id, "rest_tremor_hand", "left", "1").status_code
    assert 409 == send(clinic, exam_id, {"revision": "9", "saved": "9"}, "review").status_code
    assert "SIGNED" in clinic.get(f"/exams/{exam_id}/note").text


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"impression": ""}, "Write the impression"),
        ({"plan": " "}, "Write the plan"),
        ({"initials": "AB"}, "This is not the patient of this exam"),
        ({"birth_year": "1950"}, "This is not the patient of this exam"),
        ({"initials": " "}, "The patient’s initials are missing"),
        ({"birth_year": ""}, "The patient’s year of birth is missing"),
        ({"password": "wrong"}, "The password is not right"),
        ({"password": ""}, "The password is not right"),
    ],
)
def test_what_is_not_settled_never_signs(
    clinic: Clinic, changed: dict[str, str], says: str
) -> None:
    """Each with its reason; what was written is kept."""
    exam_id = examined(clinic, *TREMOR)
    answer = send(clinic, exam_id, settled(clinic, exam_id) | changed)

    assert 422 == answer.status_code
    assert says in answer.text
    assert PASSWORD not in answer.text
    assert [] == signed(clinic, exam_id)
    assert "open" == clinic.stored(exam_id).state


def test_a_nurses_findings_that_something_rests_on_are_confirmed_first(clinic: Clinic) -> None:
    """The physician signs for them too."""
    exam_id = examined(clinic, *WALK, by=clinic.nurse)
    form = {
        name: value
        for name, value in settled(clinic, exam_id).items()
        if not name.startswith("confirmed.")
    }
    answer = send(clinic, exam_id, form)

    assert 422 == answer.status_code
    assert "Confirm 3 findings that a nurse recorded" in answer.text
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code
    first, _ = words_of(clinic.get(f"/exams/{exam_id}/pdf").content)
    told = re.search(rf"Confirmed by {PHYSICIAN.name}, physician, at .*?Impression", first)
    assert told
    assert all(words in told[0] for words in ("RIGHT 2 definite", "LEFT 2 definite", "LEFT 1"))


def test_an_emergency_is_acknowledged_first(clinic: Clinic) -> None:
    """It cannot be signed away unread."""
    exam_id = examined(clinic, ("drift", "right", "2"), ("hx_onset", "", "sudden"))
    form = settled(clinic, exam_id)
    ticks = [name for name in form if name.startswith("emergency.")]
    assert ticks
    answer = send(clinic, exam_id, {name: form[name] for name in form if name not in ticks})

    assert 422 == answer.status_code
    assert "Acknowledge the emergency" in answer.text
    # The words that were typed are kept, and the page does not say otherwise.
    assert "The exam is not signed. What is not named here is saved." in answer.text
    assert "Nothing was saved" not in answer.text
    assert WORDS["impression"] == kept(clinic, exam_id).impression
    told = f"Emergencies acknowledged: 1, by {PHYSICIAN.name}, physician, at "
    assert told not in note_of(clinic, exam_id)
    send(clinic, exam_id, settled(clinic, exam_id), to="review")
    draft = note_of(clinic, exam_id)
    assert "DRAFT, not signed" in draft
    assert told in draft
    assert f"Impression: {WORDS['impression']}" in draft
    # A nurse does not see the review before it is signed.
    assert told not in note_of(clinic.nurse, exam_id)
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code
    assert told in note_of(clinic.nurse, exam_id)


def test_what_came_after_the_page_was_loaded_is_never_signed_unseen(clinic: Clinic) -> None:
    """The new entry is listed; after loading the page again the same physician can sign."""
    exam_id = examined(clinic, *TREMOR)
    form = settled(clinic, exam_id)
    clinic.nurse.cell(exam_id, "tug_s", "", "19.5")
    answer = send(clinic, exam_id, form)

    assert 412 == answer.status_code
    assert "19.5" in answer.text
    assert "by R. Okafor" in answer.text
    assert [] == signed(clinic, exam_id)
    assert WORDS["impression"] == kept(clinic, exam_id).impression

    again = send(clinic, exam_id, form)
    assert 412 == again.status_code, "the old page does not become a new one by sending it twice"
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code


def test_saving_does_not_make_an_unseen_entry_seen(clinic: Clinic) -> None:
    """A save while a colleague records keeps the revision that the page was loaded with."""
    exam_id = examined(clinic, *TREMOR)
    form = settled(clinic, exam_id)
    clinic.nurse.cell(exam_id, "tug_s", "", "19.5")
    answer = send(clinic, exam_id, form, "review", headers=HTMX)

    assert "Recorded since you loaded this page" in answer.text
    form |= dict(re.findall(r'name="(revision|saved)" value="(\d+)"', answer.text))
    assert 412 == send(clinic, exam_id, form).status_code


def test_of_two_who_sign_one_is_first(clinic: Clinic) -> None:
    """The second is shown the signed exam, and signs nothing."""
    exam_id = examined(clinic, *TREMOR)
    mine, theirs = settled(clinic, exam_id), settled(clinic.colleague, exam_id)
    first = send(clinic.colleague, exam_id, theirs)
    second = send(clinic, exam_id, mine)

    assert (303, 409) == (first.status_code, second.status_code)
    assert [COLLEAGUE.name] == [each.printed_name for each in signed(clinic, exam_id)]


def test_the_impression_comes_first_where_the_clinic_wants_it(clinic: Clinic) -> None:
    """Wrong advice is followed more often by who reads it before thinking (Lyell 2017)."""
    exam_id = examined(clinic, *TREMOR)
    clinic.administrator.client.post(
        "/admin/clinic", data={"impression_first": "yes", "revision": "0"}
    )
    before = clinic.get(f"/exams/{exam_id}/review").text
    send(clinic, exam_id, opened(clinic, exam_id) | {"impression": "Mine"}, "review")
    after = clinic.get(f"/exams/{exam_id}/review").text

    assert "step.refer_movement_untreated" not in before
    assert "opens below once it is saved" in before
    assert "step.refer_movement_untreated" in after


def test_a_text_about_the_other_side_is_asked_about_and_signs_all_the_same(clinic: Clinic) -> None:
    """A question, never a block: the physician may mean what is written."""
    exam_id = examined(clinic, *TREMOR)
    form = settled(clinic, exam_id) | {"impression": "Slow left hand"}
    asked = send(clinic, exam_id, form, "review", headers=HTMX)

    assert "Is the side right?" in asked.text
    assert 303 == send(clinic, exam_id, form).status_code


# ---- after signing


def amendment(clinic: Clinic, exam_id: str, **changed: str) -> dict[str, str]:
    """The form of an addendum, filled in."""
    page = clinic.get(f"/exams/{exam_id}/amend").text
    after = re.search(r'name="after" value="(\d+)"', page)
    assert after, page
    typed = {"kind": "addendum", "text": "Bloods are normal.", "reason": "Came in today"}
    return {"after": after[1]} | typed | PROOF | changed


def test_an_addendum_stands_beside_and_the_exam_reads_amended(clinic: Clinic) -> None:
    """Everywhere; the original page stays what it was."""
    exam_id = examined(clinic, *TREMOR)
    send(clinic, exam_id, settled(clinic, exam_id))
    original = clinic.get(f"/exams/{exam_id}/documents/0").content
    answer = send(clinic, exam_id, amendment(clinic, exam_id), "amend")

    assert 303 == answer.status_code, answer.text
    assert ["exam", "addendum"] == [each.kind for each in signed(clinic, exam_id)]
    page = clinic.get(f"/exams/{exam_id}").text
    assert "AMENDED" in page
    assert "Bloods are normal." in page
    assert "Amended" in clinic.get("/").text
    assert clinic.get(f"/exams/{exam_id}/note").text.count("AMENDED") >= 1
    assert original == clinic.get(f"/exams/{exam_id}/documents/0").content
    newest = clinic.get(f"/exams/{exam_id}/pdf")
    assert newest.content == clinic.get(f"/exams/{exam_id}/documents/1").content != original
    assert newest.headers["content-disposition"].endswith('-1-AMENDED.pdf"')
    with reading(clinic.app.state.engine) as session:
        assert () == verify(session).alterations


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"kind": ""}, "Choose addendum"),
        ({"text": ""}, "The text is missing"),
        ({"reason": ""}, "The reason is missing"),
        ({"initials": "XX"}, "This is not the patient"),
        ({"password": "wrong"}, "The password is not right"),
    ],
)
def test_an_amendment_says_what_it_is_and_why(
    clinic: Clinic, changed: dict[str, str], says: str
) -> None:
    """Type, text, reason, person and proof."""
    exam_id = examined(clinic, *TREMOR)
    send(clinic, exam_id, settled(clinic, exam_id))
    answer = send(clinic, exam_id, amendment(clinic, exam_id, **changed), "amend")

    assert 422 == answer.status_code
    assert says in answer.text
    assert 1 == len(signed(clinic, exam_id))


def test_an_amendment_sees_the_one_before_it(clinic: Clinic) -> None:
    """Two who add at once do not write past each other; what was typed is kept."""
    exam_id = examined(clinic, *TREMOR)
    send(clinic, exam_id, settled(clinic, exam_id))
    mine = amendment(clinic, exam_id, text="Mine")
    send(clinic.colleague, exam_id, amendment(clinic.colleague, exam_id), "amend")
    answer = send(clinic, exam_id, mine, "amend")

    assert 412 == answer.status_code
    assert ">Mine</textarea>" in answer.text
    assert "Bloods are normal." in answer.text
    assert 2 == len(signed(clinic, exam_id))


def test_nothing_is_added_beside_an_exam_that_is_not_signed(clinic: Clinic) -> None:
    """It belongs in the sheet."""
    exam_id = examined(clinic, *TREMOR)

    assert 409 == clinic.get(f"/exams/{exam_id}/amend").status_code


def test_an_exam_is_handed_over_and_taken_back(clinic: Clinic) -> None:
    """By the nurse; both may go on recording meanwhile."""
    exam_id = examined(clinic, *TREMOR)
    handed = clinic.nurse.client.post(f"/exams/{exam_id}/ready", data={"sent": "yes"})

    assert 303 == handed.status_code
    assert "ready" == clinic.stored(exam_id).state
    assert 200 == clinic.cell(exam_id, "drift", "right", "0").status_code
    clinic.nurse.client.post(f"/exams/{exam_id}/open", data={"sent": "yes"})
    assert "open" == clinic.stored(exam_id).state
