"""Forms and calls filled with whatever comes to mind: each is answered, and never with a fault."""

import json
import random
import re
from collections import Counter
from html import unescape
from typing import Any

from fastapi import FastAPI
from pydantic import SecretStr

from app.exam.reading import read_exam
from app.main import create_app
from app.report.fhir.response import response
from app.settings import Settings
from tests.sampling import WHOLE
from tests.web.clinic import ADMINISTRATOR, NURSE, PHYSICIAN, Clinic
from tests.web.tables import addresses
from tests.web.test_bad_input import FORM
from tests.web.test_cds_hooks import CARRIED, SERVICE, TOKEN, a_call

CALLS = 3000 if WHOLE else 100
NASTY = (
    "", " ", "0", "-1", "1", "2", "9" * 400, "1e400", "NaN", "٣", "²", "true", "yes", "no", "null",
    "untestable", "right", "left", "middle", "slow", "taken", "declined", "0" * 32, "f" * 32,
    "2026-02-30", "0001-01-01", "9999-12-31", "2026-11-26", "24:00", "1951", "\x00", "a\x00b",
    "\ud800", "\u202e", "\ufeff", "é" * 300, "🦆" * 100, "a" * 5000, "<script>x</script>", "'\"--",
    "%s%n{0}{{7*7}}", "../../etc/passwd", "a\r\nSet-Cookie: a=b", "http://elsewhere.example",
    "//elsewhere.example", "\n" * 200, "=1+1", "aspirin", "haloperidol\nlevodopa",
)  # fmt: skip
# Pages without forms, some of which take a second to draw.
OTHERS = re.compile(
    "/(pdf|fhir|leaflet|paper|documents|knowledge|why|Question|note|course|updates)"
)
# Fields, and what may stand in them.
NAMES = re.compile(r'name="([\w.\-]+)"(?:[^>]*?value="([^"]*)")?')


def harvested(clinic: Clinic, paths: list[str]) -> dict[str, set[str]]:
    """The fields of all forms, with the values that the pages give them."""
    found: dict[str, set[str]] = {"finding": {"rise"}, "side": {"right"}, "seen": {"0"}}
    for path in paths:
        for browser in (clinic, clinic.administrator):
            for name, value in NAMES.findall(browser.get(path).text):
                found.setdefault(unescape(name), set()).add(unescape(value))
    found.pop("form_token", None)
    return found


def encoded(fields: list[tuple[str, str]]) -> bytes:
    """A form as bytes, of which some are no text, as no browser would send them."""
    return b"&".join(
        b"=".join(
            b"".join(b"%%%02X" % byte for byte in text.encode("utf-8", "surrogatepass"))
            for text in pair
        )
        for pair in fields
    )


def form(draw: random.Random, fields: dict[str, set[str]], known: list[str]) -> bytes:
    """Some fields, mostly those of a page, mostly with what it offers."""
    most = 40 if draw.random() < 0.2 else 8
    names = draw.sample(known, draw.randint(0, min(most, len(known))))
    if draw.random() < 0.5:
        names += [name for name in ("revision", "finding", "side", "value") if name not in names]
    pairs = []
    for name in names:
        own = sorted(fields.get(name, ()))
        value = draw.choice(own) if own and draw.random() < 0.6 else draw.choice(NASTY)
        pairs.append((name, value))
    if draw.random() < 0.05:
        pairs.append((draw.choice(NASTY), draw.choice(NASTY)))
    return encoded(pairs)


def test_no_form_makes_the_program_fail(app: FastAPI) -> None:
    """Every address that takes one, by each role; the same calls in each run."""
    draw, statuses = random.Random(8), Counter[int]()
    with Clinic.of(app) as clinic:
        exam_id = clinic.new_exam()
        ids = {"exam_id": exam_id, "patient_id": clinic.stored(exam_id).patient.id}
        known = addresses(app, ids)
        pages = [path for method, path in known if method == "GET" and not OTHERS.search(path)]
        fields = harvested(clinic, pages)
        names = sorted(fields)
        writes = [path for method, path in known if method == "POST"]
        for number in range(CALLS):
            path = writes[number % len(writes)]
            browser = clinic.browser_of(draw.choice((PHYSICIAN, PHYSICIAN, NURSE, ADMINISTRATOR)))
            body = form(draw, fields, names)
            answer = browser.client.post(path, content=body, headers=FORM)
            statuses[answer.status_code] += 1
            assert answer.status_code < 500, (number, path, body)
            if answer.status_code == 401 and browser.member:
                browser.start_sign_in(browser.member)

    assert CALLS == sum(statuses.values())
    # Or everything would have been turned away at the door.
    assert {200, 303, 422} <= set(statuses), statuses


def damaged(draw: random.Random, value: Any) -> Any:
    """A JSON value with something in it changed for something else."""
    strange: tuple[Any, ...] = (
        None,
        True,
        -1,
        10**30,
        0.1,
        "",
        "right",
        "\x00",
        "🦆",
        [],
        {},
        [[]],
        {"a": {}},
    )
    if isinstance(value, dict) and value and draw.random() < 0.8:
        name = draw.choice(sorted(value))
        held = value | {name: damaged(draw, value[name])}
        if draw.random() < 0.1:
            held[str(draw.choice(NASTY))[:50].encode("utf-8", "replace").decode()] = 1
        return held
    if isinstance(value, list) and value and draw.random() < 0.8:
        place = draw.randrange(len(value))
        return [*value[:place], damaged(draw, value[place]), *value[place + 1 :]]
    return draw.choice(strange)


def test_no_call_makes_the_program_fail(settings: Settings) -> None:
    """Exams with something wrong in them, and bytes that are no exam, to both that take one."""
    draw, statuses = random.Random(9), Counter[tuple[str, int]]()
    exam = {
        "patient": {"age": 71, "sex": "female"},
        "medicines": ["haloperidol 5 mg", "aspirin"],
        "findings": {"rise": "slow", "rest_tremor_hand": {"right": 2, "left": {"untestable": "x"}}},
    }
    given = json.loads(response(read_exam(exam)))
    calls: tuple[tuple[str, Any], ...] = (("/api/assess", exam), (SERVICE, a_call(given)))
    app = create_app(settings.model_copy(update={"api_token": SecretStr(TOKEN)}))
    with Clinic.of(app, None, has_members=False) as clinic:
        for number in range(CALLS):
            path, held = calls[number % len(calls)]
            for _ in range(draw.randint(0, 2)):
                held = damaged(draw, held)
            body = json.dumps(held).encode()
            if draw.random() < 0.1:
                place = draw.randrange(len(body))
                body = body[:place] + draw.randbytes(3) + body[place:]
            answer = clinic.client.post(path, content=body, headers=CARRIED)
            statuses[path, answer.status_code] += 1

            assert answer.status_code in (200, 412, 422), body
            assert ("error" in answer.json()) == (answer.status_code != 200)

    both = {(path, status) for path, _ in calls for status in (200, 422)}
    assert both <= set(statuses) <= both | {(SERVICE, 412)}
