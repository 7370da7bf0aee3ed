"""The seal: what outside readers say of it, and every way in which it cannot be given."""

import asyncio
import stat
import subprocess
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from http.server import BaseHTTPRequestHandler, HTTPServer
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from asn1crypto import tsp
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko.sign.signers import SimpleSigner
from pyhanko.sign.timestamps.dummy_client import DummyTimeStamper

from app.knowledge.load import knowledge
from app.report.attached import attached_files
from app.report.pdf import pdf
from app.report.seal import Seal
from app.report.seal_check import FileRead, read_file
from app.report.seal_key import CannotSeal, SealKey, own_key, read_key
from tests.report.samples import normal_exam, signed_report

NOW = datetime(2026, 11, 26, 12, 30, 15, tzinfo=timezone(timedelta(hours=2)))
PASSPHRASE = "nine otters"


def made_key(
    file: Path, name: str = "Hill Clinic", start: datetime = NOW, *, stamps_time: bool = False
) -> Path:
    """A PKCS#12 file as a certificate authority would hand it over; it holds for thirty days."""
    # The responder of the tests knows RSA alone.
    key: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey = (
        rsa.generate_private_key(65537, 2048)
        if stamps_time
        else ec.generate_private_key(ec.SECP256R1())
    )
    subject = x509.Name([x509.NameAttribute(NameOID.ORGANIZATION_NAME, name)])
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start.astimezone(UTC))
        .not_valid_after(start.astimezone(UTC) + timedelta(days=30))
    )
    if stamps_time:
        usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING])
        builder = builder.add_extension(usage, critical=True)
    locked = serialization.BestAvailableEncryption(PASSPHRASE.encode())
    certificate = builder.sign(key, hashes.SHA256())
    file.write_bytes(pkcs12.serialize_key_and_certificates(b"x", key, certificate, None, locked))
    return file


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the keys of this module are."""
    return tmp_path_factory.mktemp("keys")


@pytest.fixture(scope="module")
def key(folder: Path) -> SealKey:
    """A key that was made at first start."""
    return own_key(folder / "own.p12", "Harbour Clinic", NOW)


@pytest.fixture(scope="module")
def page() -> bytes:
    """A signed page, not sealed yet."""
    found = signed_report(normal_exam())
    return pdf(found, knowledge(), attached_files(found, knowledge()))


@pytest.fixture(scope="module")
def sealed(key: SealKey, page: bytes) -> bytes:
    """The same, sealed."""
    return Seal(key).sealed(page, NOW)


def pdfsig(content: bytes, folder: Path) -> str:
    """What poppler's reader of signatures says; its exit status says nothing."""
    file = folder / "asked.pdf"
    file.write_bytes(content)
    done = subprocess.run(["pdfsig", str(file)], capture_output=True, text=True, check=False)
    return done.stdout


# ---- what others say of it


def test_another_reader_says_that_the_seal_is_valid(sealed: bytes, tmp_path: Path) -> None:
    """Over the whole file, in the form of PAdES; that nobody vouches for the name is said apart."""
    says = pdfsig(sealed, tmp_path)

    assert "Signature is Valid." in says
    assert "Total document signed" in says
    assert "Signature Type: ETSI.CAdES.detached" in says
    assert "Signer Certificate Common Name: Seal of Harbour Clinic" in says
    assert "Signing Time: Nov 26 2026 10:30:15" in says
    assert "Certificate issuer is unknown." in says


def test_another_reader_finds_a_flipped_byte(sealed: bytes, tmp_path: Path) -> None:
    """Else the test above would prove nothing."""
    assert "Signature is Valid." not in pdfsig(flipped(sealed, 2000), tmp_path)


def test_sealing_only_appends_and_changes_nothing_that_was_said(
    page: bytes, sealed: bytes, tmp_path: Path
) -> None:
    """The page stays as it was rendered, its profile and its files with it."""
    file = tmp_path / "sealed.pdf"
    file.write_bytes(sealed)
    checked = subprocess.run(
        ["qpdf", "--check", str(file)], capture_output=True, text=True, check=False
    )

    assert sealed.startswith(page)
    assert (0, "") == (checked.returncode, checked.stderr)
    with pikepdf.open(BytesIO(page)) as before, pikepdf.open(BytesIO(sealed)) as after:
        assert before.Root.Metadata.read_bytes() == after.Root.Metadata.read_bytes()
        assert sorted(before.attachments) == sorted(after.attachments)
        assert 3 == len(before.attachments)
        assert str(before.docinfo["/Title"]) == str(after.docinfo["/Title"])
        seal = after.Root.AcroForm.Fields[0].V
        assert "not a person's qualified signature" in str(seal.Reason)
        assert "D:20261126123015+02'00'" == str(seal.M)


# ---- read back


def flipped(content: bytes, at: int) -> bytes:
    """One bit of one byte turned."""
    return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]


def resaved(content: bytes) -> bytes:
    """As another program writes it that was asked to change nothing."""
    with pikepdf.open(BytesIO(content)) as file:
        written = BytesIO()
        file.save(written)
    return written.getvalue()


def only_seal(content: bytes) -> tuple[bool, bool]:
    """Whether the one seal in a file holds, and whether it covers the file to its end."""
    (seal,) = read_file(content).seals
    return seal.is_intact, seal.is_whole


def test_a_seal_is_read_back(key: SealKey, sealed: bytes) -> None:
    """Whose it is by its certificate, not by the name that it claims."""
    (seal,) = read_file(sealed).seals

    assert ("Seal of Harbour Clinic", True, True) == (seal.name, seal.is_intact, seal.is_whole)
    certificate = x509.load_der_x509_certificate(key.certificate)
    assert certificate.fingerprint(hashes.SHA256()).hex() == seal.certificate_sha256


def test_sealing_and_reading_work_where_an_event_loop_runs(key: SealKey, page: bytes) -> None:
    """Else a good seal would be called broken there, without a word why."""

    async def both() -> tuple[bool, bool]:
        return only_seal(Seal(key).sealed(page, NOW))

    assert (True, True) == asyncio.run(both())


def test_a_changed_a_resaved_and_an_extended_file_are_told_apart(sealed: bytes) -> None:
    """The last one is what a comment leaves that somebody added in their reader."""
    assert (False, True) == only_seal(flipped(sealed, 2000))
    assert not only_seal(resaved(sealed))[0]
    assert (True, False) == only_seal(sealed + b"% a remark\n")


def test_a_file_that_is_no_page_is_said_to_be_so(page: bytes) -> None:
    """Without a word of what is in it."""
    locked = BytesIO()
    with pikepdf.open(BytesIO(page)) as file:
        file.save(locked, encryption=pikepdf.Encryption(owner="a", user="b"))

    assert FileRead("not a PDF") == read_file(b"")
    assert FileRead("not a PDF") == read_file(b"PK\x03\x04")
    assert "damaged" in read_file(b"%PDF-1.7 and nothing more").fault
    assert "damaged" in read_file(page[: len(page) // 2]).fault
    assert "encrypted" in read_file(locked.getvalue()).fault
    assert FileRead() == read_file(page)


# ---- the key


def test_a_key_of_its_own_is_made_once_and_kept_to_its_owner(key: SealKey, folder: Path) -> None:
    """Whoever can read it can seal as the clinic."""
    file = folder / "own.p12"

    assert 0o600 == stat.S_IMODE(file.stat().st_mode)
    assert key.certificate == own_key(file, "Another name", NOW).certificate
    assert [] == [each.name for each in folder.iterdir() if each.name.startswith(".")]
    key.check(NOW + timedelta(days=3640))


def test_servers_that_start_together_seal_alike(tmp_path: Path) -> None:
    """Over one folder: a key for each would be several clinics to whoever checks."""
    with ThreadPoolExecutor(4) as pool:
        made = list(pool.map(lambda _: own_key(tmp_path / "x" / "k.p12", "A", NOW), range(4)))

    assert 1 == len({each.certificate for each in made})


def test_a_clinics_own_certificate_seals(folder: Path, page: bytes, tmp_path: Path) -> None:
    """One that names an organisation and no person."""
    given = read_key(made_key(folder / "given.p12"), PASSPHRASE)

    assert "Hill Clinic" == given.name
    assert "Signature is Valid." in pdfsig(Seal(given).sealed(page, NOW), tmp_path)


def test_a_key_that_cannot_be_read_says_why_and_never_the_passphrase(folder: Path) -> None:
    """In one line, with the file; the rest of the program starts without."""
    file = made_key(folder / "locked.p12")
    broken = folder / "broken.p12"
    broken.write_bytes(b"not a key")
    for passphrase in ("", "a guess"):
        with pytest.raises(CannotSeal, match=r"locked\.p12: .*the passphrase is wrong") as fault:
            read_key(file, passphrase)
        assert not passphrase or passphrase not in str(fault.value)
    with pytest.raises(CannotSeal, match=r"broken\.p12: not a PKCS#12 file"):
        read_key(broken, PASSPHRASE)
    with pytest.raises(CannotSeal, match=r"gone\.p12 cannot be read: No such file"):
        read_key(folder / "gone.p12", PASSPHRASE)
    (folder / "file").write_bytes(b"")
    with pytest.raises(CannotSeal, match="cannot be written"):
        own_key(folder / "file" / "k.p12", "A", NOW)


@pytest.mark.parametrize(
    ("days", "says"), [(-31, "ran out on 2026-11-25 10:30 UTC"), (1, "holds only from 2026-11-27")]
)
def test_a_certificate_that_does_not_hold_now_seals_nothing(
    tmp_path: Path, page: bytes, days: int, says: str
) -> None:
    """A reader would call such a seal invalid for ever."""
    file = made_key(tmp_path / "k.p12", start=NOW + timedelta(days=days))

    with pytest.raises(CannotSeal, match=says):
        Seal(read_key(file, PASSPHRASE)).sealed(page, NOW)


# ---- the time stamp


class Stamps(BaseHTTPRequestHandler):
    """A time-stamp server on this machine: RFC 3161 over HTTP, or what its path says instead."""

    stamper: DummyTimeStamper

    def do_POST(self) -> None:
        """Answer one request."""
        body = self.rfile.read(int(self.headers["Content-Length"]))
        if self.path == "/elsewhere":
            self.send_response(302)
            self.send_header("Location", "/stamp")
            self.end_headers()
            return
        kind = "text/html" if self.path == "/html" else "application/timestamp-reply"
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.end_headers()
        answer = self.stamper.request_tsa_response(tsp.TimeStampReq.load(body)).dump()
        self.wfile.write(answer[:40] if self.path == "/cut" else answer)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture(scope="module")
def stamps(folder: Path) -> Iterator[str]:
    """The address of the server."""
    signer = SimpleSigner.load_pkcs12_data(
        made_key(folder / "tsa.p12", "Time", stamps_time=True).read_bytes(),
        other_certs=[],
        passphrase=PASSPHRASE.encode(),
    )
    Stamps.stamper = DummyTimeStamper(signer.signing_cert, signer.signing_key, fixed_dt=NOW)
    with HTTPServer(("127.0.0.1", 0), Stamps) as server:
        serving = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        serving.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        serving.join()


def test_a_time_stamp_is_asked_for_where_a_server_is_set(
    key: SealKey, page: bytes, stamps: str, tmp_path: Path
) -> None:
    """PAdES B-T: the stamp stands in the seal, and the seal still holds."""
    made = Seal(key, f"{stamps}/stamp").sealed(page, NOW)

    assert "Signature is Valid." in pdfsig(made, tmp_path)
    assert (True, True) == only_seal(made)
    # signature-time-stamp, 1.2.840.113549.1.9.16.2.14, in DER and then in hexadecimal.
    assert b"060b2a864886f70d010910020e" in made.lower()
    assert b"060b2a864886f70d010910020e" not in Seal(key).sealed(page, NOW).lower()


@pytest.mark.parametrize("path", ["/html", "/cut", "/elsewhere"])
def test_no_time_stamp_no_seal(key: SealKey, page: bytes, stamps: str, path: str) -> None:
    """Also where the server sends us elsewhere: only the one that was set is asked."""
    with pytest.raises(CannotSeal, match="the time-stamp server gave no time stamp"):
        Seal(key, f"{stamps}{path}").sealed(page, NOW)


def test_a_server_that_is_not_there_seals_nothing(key: SealKey, page: bytes) -> None:
    """Port 9 of this machine answers nobody."""
    with pytest.raises(CannotSeal, match="the time-stamp server gave no time stamp"):
        Seal(key, "http://127.0.0.1:9/stamp").sealed(page, NOW)
