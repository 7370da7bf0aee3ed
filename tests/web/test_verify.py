"""Signing with the seal, and a PDF that comes back: over HTTP and from the console."""

import asyncio
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from html import unescape
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from fastapi import FastAPI
from sqlmodel import select

from app.main import create_app
from app.report.seal import Seal
from app.report.seal_key import own_key
from app.settings import Settings
from app.store.engine import reading
from app.store.signatures import attached_to, document, signatures
from app.store.signing_tables import SealCertificateRow
from tests.report.test_seal import PASSPHRASE, flipped, made_key, resaved
from tests.web.clinic import COOKIE, PASSWORD, Clinic
from tests.web.tables import audit_rows, kept
from tests.web.test_review import settled

TODAY = datetime.now(UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the database and the keys of this module are."""
    return tmp_path_factory.mktemp("verify")


@pytest.fixture(scope="module")
def house(folder: Path) -> Iterator[Clinic]:
    """One clinic for all that is asked, on a file."""
    url = f"sqlite:///{folder / 'evenhand.db'}"
    settings = Settings(_env_file=None, database_url=url, clinic="Harbour Clinic")
    with Clinic.of(create_app(settings)) as opened:
        yield opened


@pytest.fixture(scope="module")
def exam_id(house: Clinic) -> str:
    """An exam that was signed."""
    made = house.new_exam()
    assert 303 == sign(house, made).status_code
    return made


@pytest.fixture(scope="module")
def page(house: Clinic, exam_id: str) -> bytes:
    """Its page, as it leaves the clinic."""
    return bytes(house.get(f"/exams/{exam_id}/documents/0").content)


def sign(clinic: Clinic, exam_id: str) -> Any:
    """Sign an exam through its page."""
    clinic.cell(exam_id, "drift", "right", "1")
    return clinic.client.post(f"/exams/{exam_id}/sign", data=settled(clinic, exam_id))


def amend(clinic: Clinic, exam_id: str) -> Any:
    """Put an addendum beside it."""
    form = {
        "after": "0", "kind": "addendum", "text": "The scan is normal.", "reason": "It came late",
        "initials": "AL", "birth_year": "1951", "password": PASSWORD,
    }  # fmt: skip
    return clinic.client.post(f"/exams/{exam_id}/amend", data=form)


def sent(clinic: Clinic, *contents: bytes) -> Any:
    """Files put on the page."""
    files = [
        ("files", (f"page{n}.pdf", each, "application/pdf")) for n, each in enumerate(contents)
    ]
    return clinic.client.post("/verify", files=files)


def says(clinic: Clinic, content: bytes) -> str:
    """What the page says of one file, from its verdict on."""
    answer = sent(clinic, content)
    assert 200 == answer.status_code, answer.text
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())
    found = re.search(r"(?:UNALTERED|ALTERED|UNKNOWN) page0\.pdf .*(?= Says whether a PDF)", text)
    assert found, text
    return found[0]


def another_clinics(folder: Path, page: bytes) -> bytes:
    """A page that somebody else has sealed."""
    key = own_key(folder / "other.p12", "Hill Clinic", TODAY)
    with pikepdf.open(BytesIO(page)) as file:
        file.docinfo["/Subject"] = "Exam " + "0" * 32
        del file.Root.AcroForm
        del file.pages[0]["/Annots"]
        plain = BytesIO()
        file.save(plain)
    return Seal(key).sealed(plain.getvalue(), TODAY)


# ---- what is kept


def test_the_files_inside_a_signed_page_are_those_that_are_kept(
    house: Clinic, exam_id: str, page: bytes
) -> None:
    """Byte for byte, in the file, in the database and as a download; the amendment's too."""
    with reading(house.app.state.engine) as session:
        (piece,) = signatures(session, exam_id)
        held = {each.name: each.content for each in attached_to(session, piece.document_sha256)}
        assert page == document(session, piece.document_sha256).content
        assert 1 == len(session.exec(select(SealCertificateRow)).all())
    with pikepdf.open(BytesIO(page)) as file:
        inside = {name: spec.get_file().read_bytes() for name, spec in file.attachments.items()}
    downloads = {name: house.get(f"/exams/{exam_id}/documents/0/{name}") for name in ("exam.json",)}

    assert {"exam.json", "assessment.json", "fhir.json"} == set(held)
    assert held == inside
    assert held["exam.json"] == downloads["exam.json"].content
    assert "application/json" == downloads["exam.json"].headers["content-type"]
    assert f'href="/exams/{exam_id}/documents/0/exam.json"' in house.get(f"/exams/{exam_id}").text
    assert 404 == house.get(f"/exams/{exam_id}/documents/0/other.json").status_code
    assert 404 == house.get(f"/exams/{exam_id}/documents/7/exam.json").status_code


# ---- what is said of a file


def test_the_very_bytes_are_unaltered(house: Clinic, exam_id: str, page: bytes) -> None:
    """By whom, when, of which exam."""
    told = says(house, page)

    assert told.startswith("UNALTERED page0.pdf These are the very bytes")
    assert f"Exam {exam_id}, now signed. The exam, signed by Dr I. Brandt, physician" in told
    assert f'href="/exams/{exam_id}"' in sent(house, page).text


@pytest.mark.parametrize("at", [2000, -1500, -40])
def test_one_flipped_byte_is_an_altered_file(
    house: Clinic, exam_id: str, page: bytes, at: int
) -> None:
    """In the page, in the seal itself, and in the end of the file."""
    told = says(house, flipped(page, at % len(page)))

    assert told.startswith("ALTERED page0.pdf")


def test_each_kind_of_change_is_named(house: Clinic, exam_id: str, page: bytes) -> None:
    """Saved anew, added to, and without its seal."""
    unsealed = page[: page.index(b"%%EOF") + 6]

    assert "seal on it is broken: it was changed or saved anew. It names exam " + exam_id in says(
        house, resaved(page)
    )
    added = says(house, page + b"% a remark\n")
    assert "ALTERED page0.pdf Something was added after this clinic sealed it" in added
    assert f"Exam {exam_id}, now signed." in added
    assert "ALTERED page0.pdf It names an exam of this clinic and is none of its signed pages" in (
        says(house, unsealed)
    )


def test_what_is_not_this_clinics_is_unknown(
    house: Clinic, exam_id: str, page: bytes, folder: Path
) -> None:
    """Another clinic's, an encrypted one, no PDF, and a draft."""
    locked = BytesIO()
    with pikepdf.open(BytesIO(page)) as file:
        file.save(locked, encryption=pikepdf.Encryption(owner="a", user="b"))
    draft = house.new_exam(chart_number="HC-77")

    assert (
        "UNKNOWN page0.pdf It is no signed page of this clinic. It is sealed by Seal of Hill "
        in (says(house, another_clinics(folder, page)))
    )
    assert "intact, but that is not this clinic’s seal." in says(
        house, another_clinics(folder, page)
    )
    assert "UNKNOWN page0.pdf The file is encrypted" in says(house, locked.getvalue())
    assert "UNKNOWN page0.pdf The file is not a PDF." in says(house, b"GIF89a")
    assert "UNKNOWN page0.pdf It names an exam of this clinic that is not signed" in says(
        house, house.get(f"/exams/{draft}/pdf").content
    )


def test_who_may_not_read_the_exam_is_told_the_verdict_alone(
    house: Clinic, exam_id: str, page: bytes
) -> None:
    """An administrator's role opens no chart; the look-up is noted, and nothing else changes."""
    administrator = house.administrator
    before, rows = kept(house.app), len(audit_rows(house.app))
    for content, verdict in ((page, "UNALTERED"), (page + b"\n", "ALTERED")):
        told = sent(administrator, content).text

        assert verdict in told
        assert exam_id not in told
        assert "Brandt" not in told
        assert "Lindqvist" not in told.title()
    noted = audit_rows(house.app)[rows:]
    assert ["verify_page", "verify_page"] == [each.action for each in noted]
    assert [exam_id, exam_id] == [each.exam_id for each in noted]
    assert before == kept(house.app)


def test_several_files_are_answered_each_and_none_is_asked_for(
    house: Clinic, exam_id: str, page: bytes
) -> None:
    """A stack that came back; and a form that was sent empty."""
    both = sent(house, page, b"no").text
    empty = house.client.post("/verify", files=[("files", ("", b"", "application/octet-stream"))])

    assert both.index("page0.pdf") < both.index("page1.pdf")
    assert (1, 1) == (both.count("UNALTERED <"), both.count("UNKNOWN <"))
    assert 422 == empty.status_code
    assert "Choose one or more PDF files." in empty.text
    assert 422 == house.client.post("/verify", data={"files": "x"}).status_code
    broken = {"content-type": "multipart/form-data; boundary=x"}
    assert 422 == house.client.post("/verify", content=b"--x\r\n", headers=broken).status_code


def test_a_form_without_scripts_carries_its_token(house: Clinic, page: bytes) -> None:
    """In the form itself, as a browser without scripts sends it."""
    token = house.client.headers.pop("X-Form-Token")
    files = [("files", ("page0.pdf", page, "application/pdf"))]
    try:
        right = house.client.post("/verify", data={"form_token": token}, files=files)
        wrong = house.client.post("/verify", data={"form_token": "0" * 64}, files=files)
    finally:
        house.client.headers["X-Form-Token"] = token

    assert (200, 403) == (right.status_code, wrong.status_code)


def test_a_file_that_is_too_large_is_refused_and_never_read_whole(house: Clinic) -> None:
    """200 MB; and of somebody who is not signed in hardly anything is kept at all."""
    assert house.token
    for cookie, most, told in (
        (f"{COOKIE}={house.token}", 40, "larger than 20 MB"),
        ("", 20, "larger than 256 KiB"),
    ):
        # The driver of a browser that an earlier test has started keeps a loop in this thread.
        with ThreadPoolExecutor(1) as beside:
            offered = beside.submit(asyncio.run, _offered(house.app, cookie, megabytes=200))
            taken, status, text = offered.result()

        assert most > taken
        assert 413 == status
        assert told in text


async def _offered(app: FastAPI, cookie: str, megabytes: int) -> tuple[int, int, str]:
    """Offer a body piece by piece: how many were taken, and what was answered."""
    taken, answered = 0, []

    async def receive() -> dict[str, Any]:
        nonlocal taken
        taken += 1
        part = bytes(1024 * 1024)
        return {"type": "http.request", "body": part, "more_body": taken < megabytes}

    async def send(message: Any) -> None:
        answered.append(message)

    headers = [
        (b"host", b"testserver"),
        (b"content-type", b"multipart/form-data; boundary=x"),
        (b"cookie", cookie.encode()),
    ]
    scope = {
        "type": "http", "method": "POST", "path": "/verify", "raw_path": b"/verify",
        "query_string": b"", "root_path": "", "scheme": "https", "http_version": "1.1",
        "server": ("testserver", 443), "client": ("testclient", 50000), "headers": headers,
    }  # fmt: skip
    await app(scope, receive, send)
    return (
        taken,
        answered[0]["status"],
        b"".join(each.get("body", b"") for each in answered).decode(),
    )


# ---- from the console


def test_the_console_says_the_same(
    house: Clinic, exam_id: str, page: bytes, folder: Path, tmp_path: Path
) -> None:
    """With a status for scripts: 0 where all is as it was, 1 where a file is not."""
    (tmp_path / "good.pdf").write_bytes(page)
    (tmp_path / "bad.pdf").write_bytes(page + b"\n")

    def run(*names: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "app", "verify", *(str(tmp_path / name) for name in names)],
            capture_output=True,
            text=True,
            check=False,
            env=os.environ | {"EVENHAND_DATABASE_URL": f"sqlite:///{folder / 'evenhand.db'}"},
        )

    good, bad = run("good.pdf"), run("good.pdf", "bad.pdf", "gone.pdf")
    both = run("good.pdf", "bad.pdf")

    assert (0, "") == (good.returncode, good.stderr)
    assert "good.pdf: unaltered. These are the very bytes" in good.stdout
    assert f"Exam {exam_id}" in good.stdout
    assert 2 == bad.returncode
    assert 1 == both.returncode
    assert "bad.pdf: altered. Something was added" in both.stdout


# ---- what came later


def test_a_page_that_left_before_an_amendment_and_a_new_certificate_is_still_known(
    house: Clinic, exam_id: str, page: bytes, folder: Path
) -> None:
    """Years later: the clinic has another key by then, and the exam another piece beside it."""
    made_key(folder / "next.p12", "Harbour Clinic", TODAY - timedelta(days=1))
    settings = Settings(
        _env_file=None,
        database_url=f"sqlite:///{folder / 'evenhand.db'}",
        seal_folder=None,
        seal_file=folder / "next.p12",
        seal_passphrase=PASSPHRASE,
    )
    with Clinic.of(create_app(settings)) as later:
        assert 303 == amend(later, exam_id).status_code
        newest = later.get(f"/exams/{exam_id}/documents/1").content
        told = says(later, page)
        altered = says(later, flipped(page, 2000))

        assert told.startswith("UNALTERED")
        assert "A newer amendment stands beside the exam by now." in told
        assert "Newest: Amendment 1 (addendum), signed by Dr I. Brandt" in told
        assert "This clinic’s seal on it is broken" in altered
        assert "A newer amendment" not in says(later, newest)
        with pikepdf.open(BytesIO(newest)) as file:
            assert {"exam.json", "assessment.json", "fhir.json"} == set(file.attachments)
        with reading(later.app.state.engine) as session:
            assert 2 == len(session.exec(select(SealCertificateRow)).all())


# ---- when there is no seal


@pytest.mark.parametrize(
    ("file", "passphrase", "why"),
    [
        ("gone.p12", PASSPHRASE, "gone.p12 cannot be read: No such file or directory"),
        ("good.p12", "a guess", "good.p12: not a PKCS#12 file, or the passphrase is wrong"),
        ("old.p12", PASSPHRASE, "the certificate ran out on"),
        ("young.p12", PASSPHRASE, "the certificate holds only from"),
    ],
)
def test_without_a_seal_a_draft_prints_and_signing_says_why_it_cannot_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str, passphrase: str, why: str
) -> None:
    """Nothing is written; where the clinic allows it, a page without a seal is signed."""
    made_key(tmp_path / "good.p12", start=TODAY)
    made_key(tmp_path / "old.p12", start=TODAY - timedelta(days=40))
    made_key(tmp_path / "young.p12", start=TODAY + timedelta(days=2))
    given: dict[str, Any] = {
        "_env_file": None,
        "database_url": f"sqlite:///{tmp_path / 'evenhand.db'}",
        "seal_folder": None,
        "seal_file": tmp_path / file,
        "seal_passphrase": passphrase,
    }
    with Clinic.of(create_app(Settings(**given))) as strict:
        exam_id = strict.new_exam()
        strict.cell(exam_id, "drift", "right", "1")
        form = settled(strict, exam_id)
        strict.client.post(f"/exams/{exam_id}/review", data=form)
        form = settled(strict, exam_id)
        before = kept(strict.app)
        answer = strict.client.post(f"/exams/{exam_id}/sign", data=form)
        text = " ".join(unescape(answer.text).split())

        assert 409 == answer.status_code
        assert "Not signed: the clinic’s seal (an organisation’s seal) cannot be given: " in text
        assert why in text
        assert passphrase not in text
        assert before == kept(strict.app)
        assert strict.get(f"/exams/{exam_id}/pdf").content.startswith(b"%PDF")
    assert ("Signed pages cannot be sealed" in capsys.readouterr().err) is (
        "certificate" not in why
    )
    if file != "gone.p12":
        return
    with Clinic.of(create_app(Settings(**given, sign_without_seal=True))) as lenient:
        assert 303 == lenient.client.post(f"/exams/{exam_id}/sign", data=form).status_code
        page = lenient.get(f"/exams/{exam_id}/pdf").content
        with pikepdf.open(BytesIO(page)) as opened:
            assert "/AcroForm" not in opened.Root
        assert says(lenient, page).startswith("UNALTERED")


def test_several_servers_must_be_told_where_their_one_key_is() -> None:
    """A key made by each of them would be several seals of one clinic."""
    from app.report.seal_key import CannotSeal
    from app.web.sealing import seal_key

    with pytest.raises(CannotSeal, match="set EVENHAND_SEAL_FILE or EVENHAND_SEAL_FOLDER"):
        seal_key(None, "", None, "postgresql+psycopg://db/x", "A", TODAY)
