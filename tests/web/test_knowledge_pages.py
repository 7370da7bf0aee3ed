"""The pages about what is known, what the program is for, and why an exam gives what it gives."""

import dataclasses
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from jinja2 import Environment, FileSystemLoader, nodes

from app.assess.words import DISCLAIMER
from app.knowledge.describe_parts import sign_ids
from app.knowledge.load import knowledge
from app.knowledge.mentions import label_of
from app.settings import ROOT
from app.web import knowledge_pages
from app.web.guard import CONTENT_SECURITY_POLICY
from app.web.routers import KNOWLEDGE_ROUTERS
from tests.web.clinic import HTMX, Clinic

KNOWN = knowledge()
TEMPLATES = ROOT / "templates"
LISTS = {
    "/about": "Intended use",
    "/knowledge": "What Evenhand knows",
    "/knowledge/falls": "Falls group",
    "/knowledge/exam": "How each sign is examined",
    "/knowledge/steps": "What there is to consider",
    "/knowledge/medicines": "Medicines",
    "/knowledge/norms": "Norms and numbers",
    "/knowledge/sources": "Sources",
}
THINGS = {
    f"/knowledge/{group}/{thing}": label_of(group, thing, KNOWN)
    for group, things in (
        ("categories", KNOWN.categories),
        ("warnings", KNOWN.warnings),
        ("signs", sign_ids(KNOWN)),
    )
    for thing in things
}
EVERY_PAGE = LISTS | THINGS
RULES = (*KNOWN.categories, *KNOWN.warnings, "fall_risk")
PAGE_OF = {
    "index.html": knowledge_pages.IndexPage,
    "category.html": knowledge_pages.CategoryPage,
    "warning.html": knowledge_pages.WarningPage,
    "falls.html": knowledge_pages.FallsPage,
    "sign.html": knowledge_pages.SignPage,
    "exam.html": knowledge_pages.ExaminedPage,
    "steps.html": knowledge_pages.StepsPage,
    "medicines.html": knowledge_pages.MedicinesPage,
    "norms.html": knowledge_pages.NormsPage,
    "sources.html": knowledge_pages.SourcesPage,
    "about.html": knowledge_pages.AboutPage,
    "why.html": knowledge_pages.WhyPage,
    "asked.html": knowledge_pages.AskedPage,
}


def seen(html: str) -> str:
    """The text that a reader sees, without tags; the head of the page is left out."""
    body = html[html.index("<body>") :]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", body)))


def main_of(html: str) -> str:
    """The text of the page itself, without the frame around it."""
    return seen("<body>" + html[html.index("<main") : html.index("</main>")])


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def record(clinic: Clinic, exam_id: str, text: str) -> None:
    """Enter cells: `drift left 2; hx_onset sudden`."""
    for entry in text.split("; "):
        finding, *side, value = entry.split()
        answer = clinic.cell(exam_id, finding, side[0] if side else "", value)
        assert 200 == answer.status_code, answer.text


# ---- every page


def test_the_pages_of_this_list_are_all_there_are() -> None:
    """A new page must come into the tests below."""
    routes = {
        route.path
        for router in KNOWLEDGE_ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute)
    }

    assert {
        *LISTS,
        "/knowledge/categories/{category_id}",
        "/knowledge/warnings/{warning_id}",
        "/knowledge/signs/{sign_id}",
        "/exams/{exam_id}/why/{rule}",
        "/exams/{exam_id}/next/{finding}",
    } == routes


@pytest.mark.parametrize("headers", [{}, HTMX, HTMX | {"HX-History-Restore-Request": "true"}])
def test_every_page_is_whole_and_carries_the_guards(
    clinic: Clinic, headers: dict[str, str]
) -> None:
    """With its title, its heading, the disclaimer, and no name of the files to be read."""
    for path, label in EVERY_PAGE.items():
        answer = clinic.client.get(path, headers=headers)
        text = seen(answer.text)

        assert 200 == answer.status_code, path
        assert answer.text.startswith("<!DOCTYPE html>"), path
        assert f"<title>{label} – Evenhand, Harbour Clinic</title>" in unescape(answer.text), path
        assert label in text, path
        assert DISCLAIMER in text, path
        assert "_" not in text, path
        assert CONTENT_SECURITY_POLICY == answer.headers["content-security-policy"]
        assert "no-store" == answer.headers["cache-control"]


def test_every_rule_is_explained_for_an_exam(clinic: Clinic, exam_id: str) -> None:
    """Also where it is not listed, and for the falls group."""
    record(clinic, exam_id, "drift left 2; hx_onset sudden; rise slow; posture_tremor right 1")
    for rule in RULES:
        for headers in ({}, HTMX):
            answer = clinic.client.get(f"/exams/{exam_id}/why/{rule}", headers=headers)
            text = seen(answer.text)

            assert 200 == answer.status_code, rule
            assert answer.text.startswith("<!DOCTYPE html>"), rule
            assert CONTENT_SECURITY_POLICY == answer.headers["content-security-policy"]
            assert "This exam: " in text
            assert "What it does not know" in text
            assert "LINDQVIST, Aurelia" in text
            assert DISCLAIMER in text
            assert "_" not in text, rule


@pytest.mark.parametrize(
    "path",
    [
        "/knowledge/categories/humours",
        "/knowledge/warnings/parkinsonism",
        "/knowledge/signs/drift",
        "/knowledge/signs/rigid_arm/more",
        "/knowledge/nothing",
        "/exams/EXAM/why/humours",
        "/exams/EXAM/why/rigid",
        "/exams/00000000000000000000000000000000/why/parkinsonism",
        "/exams/nobody/why/fall_risk",
    ],
)
def test_what_is_not_known_is_a_whole_page_that_says_so(
    clinic: Clinic, exam_id: str, path: str
) -> None:
    """A finding is no sign, and a pattern no warning."""
    answer = clinic.get(path.replace("EXAM", exam_id))

    assert 404 == answer.status_code
    assert "Not found" in answer.text
    assert answer.text.startswith("<!DOCTYPE html>")
    assert CONTENT_SECURITY_POLICY == answer.headers["content-security-policy"]


def test_every_link_leads_to_a_page_and_to_a_place_on_it(clinic: Clinic, exam_id: str) -> None:
    """Also the links of the explanations."""
    pages = {path: clinic.get(path).text for path in EVERY_PAGE}
    whys = [clinic.get(f"/exams/{exam_id}/why/{rule}").text for rule in RULES]
    hrefs = {
        unescape(href)
        for text in (*pages.values(), *whys)
        for href in re.findall(r'<a [^>]*href="([^"]+)"', text)
    }

    assert {"/", "#main", f"/exams/{exam_id}"} <= hrefs
    for href in hrefs:
        path, _, place = href.partition("#")
        if path in pages:
            assert not place or f'id="{place}"' in pages[path], href
        elif path:
            assert 200 == clinic.get(path).status_code, href


def test_no_template_holds_a_style_or_a_script_of_its_own() -> None:
    """The policy would refuse it, and only in the browser."""
    for file in (TEMPLATES / "knowledge").glob("*.html"):
        assert not re.search(
            r"<style|\sstyle=|\son\w+=|hx-on|javascript:|<script", file.read_text()
        ), file


def test_every_template_reads_only_what_its_page_holds() -> None:
    """A misspelt name fails here and not in front of a reader."""
    environment = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True)
    files = {file.name for file in (TEMPLATES / "knowledge").glob("[!_]*.html")} - {"base.html"}

    assert files == set(PAGE_OF)
    for name, page in PAGE_OF.items():
        held = {field.name for field in dataclasses.fields(page)} | {"full_title"}
        read = set(names_read(environment, TEMPLATES / "knowledge" / name))

        assert set() == read - held, name
        assert set() == held - read - FRAME, name


# What the frame around every page reads, and what a page has because all of them do.
FRAME = {"title", "faults", "full_title", "version"}


def names_read(environment: Environment, file: Path) -> Iterator[str]:
    """The attributes that a template reads of its page."""
    for node in environment.parse(file.read_text()).find_all(nodes.Getattr):
        if isinstance(node.node, nodes.Name) and node.node.name == "page":
            yield node.attr


# ---- what the pages say


def test_a_pattern_stands_with_its_rule_its_sources_and_its_cases(clinic: Clinic) -> None:
    """Each source with how far it was checked."""
    text = main_of(clinic.get("/knowledge/categories/parkinsonism").text)

    for words in (
        "State: draft, written by engineers and not yet reviewed by a clinician.",
        "All of: Bradykinesia on either side One or more of: Rest tremor anywhere Rigid limb",
        "What argues against the usual cause",
        "Postuma 2015 : read in a secondary copy.",
        "from memory, not yet checked against the source",
        "Failure to relax (paratonia) is not rigidity.",
        "Bradykinesia alone is not parkinsonism (Postuma 2015)",
        "Requirement met: no. Result: partly there, the pattern is not met.",
    ):
        assert words in text


def test_a_warning_that_only_a_tier_raises_says_so(clinic: Clinic) -> None:
    """Cord signs alone raise nothing."""
    cord = main_of(clinic.get("/knowledge/warnings/cord_compression").text)
    wernicke = main_of(clinic.get("/knowledge/warnings/wernicke").text)
    flap = main_of(clinic.get("/knowledge/warnings/flap").text)

    assert "Together with what makes it urgent, below." in cord
    assert "In every other case it is not raised." in cord
    assert "Together with: One or more of: Poor nutrition Heavy alcohol use" in wernicke
    assert "Same day , in every other case." in wernicke
    assert "Wherever this is so:" in flap


def test_the_falls_group_says_that_it_predicts_nothing(clinic: Clinic) -> None:
    """nice_ng249, vandeloo2024."""
    text = main_of(clinic.get("/knowledge/falls").text)

    assert "A group for planning care, not a prediction." in text
    assert "NICE NG249 advises against tools that predict falls" in text
    assert "sensitivity of this algorithm is 31 to 48 %" in text


def test_a_number_shows_its_unit_and_a_medicine_its_other_names(clinic: Clinic) -> None:
    """And which of them are weak."""
    norms = main_of(clinic.get("/knowledge/norms").text)
    medicines = main_of(clinic.get("/knowledge/medicines").text)

    assert "usual walking speed: 0.8 m/s or less" in norms
    assert "60 to 64 14 12" in norms
    assert "valproate also valproic acid, divalproex; weaker association" in medicines


def test_the_intended_use_is_the_text_of_the_document(clinic: Clinic) -> None:
    """One source for both: every sentence of the page stands in docs/intended-use.md."""
    document = (ROOT / "docs" / "intended-use.md").read_text(encoding="utf-8")
    text = re.sub(r"\]\([^)]*\)", "", document).replace("[", "")
    page = clinic.get("/about").text
    said = re.findall(r"<(?:p|li|h2[^>]*)>([^<]{25,})<", page[page.index("<main") :])

    assert len(said) > 30
    # Asked for by a licence, and about the terms rather than the program.
    assert KNOWN.hpo.attribution == unescape(said.pop())
    for sentence in said:
        assert re.sub(r"\s+", " ", unescape(sentence)).strip() in text, sentence


# ---- one rule in one exam


def test_a_pattern_is_explained_condition_by_condition(clinic: Clinic, exam_id: str) -> None:
    """Yes, no and not known, each with the entries behind it: finding, side, value."""
    record(
        clinic,
        exam_id,
        "finger_tap_slow left 3; finger_tap_decrement left 2; rest_tremor_hand left 1; "
        "vertical_gaze slow; base normal",
    )
    text = main_of(clinic.get(f"/exams/{exam_id}/why/parkinsonism").text)

    for words in (
        "This exam: fits the pattern, with cautions.",
        "It is not a disease and not a diagnosis",
        "yes Bradykinesia on either side Finger taps: slow: LEFT 3 marked",
        "yes Rest tremor anywhere Hand tremor at rest: LEFT 1 slight",
        "not known Rigid limb on either side Could still decide: Arm: resistance",
        "Vertical gaze slow or limited yes Vertical gaze: slow or limited Vertical gaze: slow",
        "Postuma 2015 : read in a secondary copy.",
        "Known and not there: Wide base.",
        "It would fit without a caution Without “Vertical gaze: slow”",
        "It would no longer fit Without “Hand tremor at rest, LEFT: 1 slight”",
        "Of what argues against the usual cause,",
        "Failure to relax (paratonia) is not rigidity.",
        "draft, written by engineers and not yet reviewed by a clinician",
    ):
        assert words in text, words


def test_what_is_partly_there_says_what_would_make_it_fit(clinic: Clinic, exam_id: str) -> None:
    """And what it was recorded as."""
    record(
        clinic,
        exam_id,
        "dystonia right 0; dystonia left 0; dystonia_midline 0; sensory_trick yes",
    )
    text = main_of(clinic.get(f"/exams/{exam_id}/why/dystonia").text)

    assert "This exam: partly there, the pattern is not met." in text
    assert "It would fit With “Dystonia of neck, face, jaw or trunk: 2 definite” instead of" in text
    assert "The signs fit the pattern" not in text


def test_what_could_not_be_tested_is_named_as_that(clinic: Clinic, exam_id: str) -> None:
    """With its reason, and not as something that was forgotten."""
    clinic.cell(exam_id, "vertical_gaze", "", "untestable", why="eyes shut")
    text = main_of(clinic.get(f"/exams/{exam_id}/why/vertical_gaze").text)

    assert "This exam: not raised, not enough is known." in text
    assert "Vertical gaze: eyes shut" in text
    assert "(could not be tested)" in text


def test_an_emergency_says_so_first(clinic: Clinic, exam_id: str) -> None:
    """Signs and context apart, and no word that could be taken for a diagnosis."""
    record(clinic, exam_id, "drift left 2; hx_onset sudden")
    html = clinic.get(f"/exams/{exam_id}/why/stroke_like").text
    text = main_of(html)

    assert 'class="result is-emergency"' in html
    assert "This exam: raised: EMERGENCY, now." in text
    assert "It does not say what the patient has, and its absence is no all-clear." in text
    assert "These signs yes One or more of: yes Pronator drift on either side" in text
    assert "Together with yes All of: yes How it began: suddenly, over hours" in text
    assert "It would no longer be raised Without “Pronator drift, LEFT: 2 definite”" in text


def test_a_warning_that_is_surely_not_raised_says_so(clinic: Clinic, exam_id: str) -> None:
    """As against one that is not known yet."""
    record(clinic, exam_id, "hx_onset months_years")
    text = main_of(clinic.get(f"/exams/{exam_id}/why/stroke_like").text)

    assert "This exam: not raised." in text
    assert (
        "No change of one or two findings would raise it." in text or "It would be raised" in text
    )


def test_the_whole_may_be_sure_where_its_parts_are_not(clinic: Clinic, exam_id: str) -> None:
    """decisions/0009: stiff both ways and steady is rigid, or it is spastic."""
    record(
        clinic,
        exam_id,
        "arm_resistance right 2; arm_resistance_directions right both; "
        "arm_resistance_varies right no; hx_recent_worsening yes",
    )
    text = main_of(clinic.get(f"/exams/{exam_id}/why/short_course").text)

    assert (
        "Taken together the conditions hold, whatever the missing findings turn out to be." in text
    )


def test_medicines_are_named_with_what_they_do(clinic: Clinic, exam_id: str) -> None:
    """And the page gives no reason to stop one."""
    record(clinic, exam_id, "finger_tap_slow left 2")
    clinic.sheet(exam_id, {"medicines": "haloperidol 1 mg"})
    text = main_of(clinic.get(f"/exams/{exam_id}/why/dopamine_blocker").text)

    assert "haloperidol: can cause parkinsonism" in text
    assert "Without a medicine that can cause parkinsonism (haloperidol)" in text
    assert "It is no reason to look for a finding, to leave one out, or to stop a medicine." in text


def test_the_falls_group_shows_which_branch_counts(clinic: Clinic, exam_id: str) -> None:
    """The first that is so."""
    record(clinic, exam_id, "hx_falls_12m 2")
    text = main_of(clinic.get(f"/exams/{exam_id}/why/fall_risk").text)

    assert "This exam: high." in text
    assert "High – this exam. A fall, and one of: injury" in text
    assert "The group is for planning care. It predicts nothing." in text


def test_many_changes_are_folded_away(clinic: Clinic, exam_id: str) -> None:
    """Six are read; sixty are not."""
    html = clinic.get(f"/exams/{exam_id}/why/cerebellar_ataxia").text
    shown = html[html.index('id="change"') : html.index('id="unknown"')]

    assert re.search(r"<summary>\d+ more</summary>", shown)
    assert 6 == shown[: shown.index("<details")].count("<li>")


def test_the_way_back_leads_to_the_part_of_the_sheet_one_came_from(
    clinic: Clinic, exam_id: str
) -> None:
    """The nurse's part, or the whole."""
    nurse = clinic.get(f"/exams/{exam_id}/why/fall_risk?part=nurse").text
    other = clinic.get(f"/exams/{exam_id}/why/fall_risk?part=../x").text

    assert f'href="/exams/{exam_id}?part=nurse"' in nurse
    assert f'href="/exams/{exam_id}"' in other


def test_what_a_person_typed_is_never_markup(clinic: Clinic) -> None:
    """Names and reasons come onto the page as they were typed."""
    evil = "<script>alert(1)</script>"
    exam_id = clinic.new_exam(family_name=evil)
    clinic.cell(exam_id, "rise", "", "untestable", why=evil)
    html = clinic.get(f"/exams/{exam_id}/why/higher_level_gait").text

    assert "<script>alert" not in html
    assert evil in unescape(html)


def test_explaining_changes_nothing(clinic: Clinic, exam_id: str) -> None:
    """No address that is only read may write."""
    record(clinic, exam_id, "drift left 2")
    before = clinic.stored(exam_id)
    for rule in RULES:
        clinic.get(f"/exams/{exam_id}/why/{rule}")

    assert before == clinic.stored(exam_id)
