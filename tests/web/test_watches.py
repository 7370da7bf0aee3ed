"""Which row of the sheet has a watch, and what that watch says of itself."""

import re

from app.web.sections import NURSE_PART, PARTS
from app.web.sheet import Shown, stations
from app.web.watch_view import WatchView
from tests.web.clinic import Clinic
from tests.web.test_updates import sign_now


def watches(clinic: Clinic, writes: frozenset[str] = PARTS) -> dict[str, WatchView]:
    """Every watch of a new exam's sheet, by its id, in the order of the sheet."""
    shown = Shown(clinic.stored(clinic.new_exam()), writes=writes)
    tops = [row for each in stations(shown, "") for group in each.groups for row in group.rows]
    rows = [row for top in tops for row in (top, *top.details)]
    return {watch.dom: watch for row in rows for watch in row.watches}


def test_each_timed_finding_has_its_watch_right_before_left(clinic: Clinic) -> None:
    """Which finding, which kind, how many seconds: the tests as they are named and published."""
    found = watches(clinic)
    expected = {
        "w-posture_tremor_delay_s-right": ("stopwatch", "right", (), ""),
        "w-posture_tremor_delay_s-left": ("stopwatch", "left", (), ""),
        "w-tug_s": ("stopwatch", "", (), ""),
        "w-stands_30s": ("count", "", (30,), ""),
        "w-five_stands_s": ("stopwatch", "", (), ""),
        "w-walk_s": ("stopwatch", "", (), "walk_steps"),
        "w-tandem_stand_s": ("stopwatch", "", (), ""),
        "w-taps_10s-right": ("count", "right", (10,), ""),
        "w-taps_10s-left": ("count", "left", (10,), ""),
        "w-standing_sys": ("reminder", "", (60, 180), ""),
    }

    assert expected == {
        dom: (each.kind, each.side, each.seconds, each.counts) for dom, each in found.items()
    }
    assert list(expected) == list(found)


def test_a_watch_is_named_in_full_and_says_what_its_seconds_rest_on(clinic: Clinic) -> None:
    """The side is the patient's, and common practice is called so on screen."""
    found = watches(clinic)
    taps, stands = found["w-taps_10s-left"], found["w-stands_30s"]

    assert "Finger taps in 10 s, LEFT (patient’s)" == taps.named
    assert ("tap", "common practice, no source") == (taps.counted, taps.basis)
    assert "Chair stands in 30 s" == stands.named
    assert ("stand", "CDC STEADI, read in a secondary copy") == (stands.counted, stands.basis)
    assert "step" == found["w-walk_s"].counted
    assert "Freeman 2011, read in the source" == found["w-standing_sys"].basis
    assert "" == found["w-tug_s"].basis


def test_who_may_not_write_a_cell_has_no_watch_for_it(clinic: Clinic) -> None:
    """A nurse has none in the physician's part, and a signed sheet none at all."""
    nurse = watches(clinic, writes=frozenset((NURSE_PART,)))
    exam_id = clinic.new_exam(chart_number="HC-2042")
    open_text = clinic.get(f"/exams/{exam_id}").text
    sign_now(clinic, exam_id)
    signed_text = clinic.get(f"/exams/{exam_id}").text

    assert {"w-tug_s", "w-taps_10s-right"} <= set(nurse)
    assert not [dom for dom in nurse if "posture_tremor" in dom]
    assert 10 == len(re.findall("data-watch=", open_text))
    assert 'id="watching"' in open_text
    assert "data-watch=" not in signed_text
    assert 'id="watching"' not in signed_text
