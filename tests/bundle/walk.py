"""One exam in an installed Evenhand, from a namespace of the network that leads nowhere.

Run as `unshare --map-root-user --net python -m tests.bundle.walk BUNDLE FOLDER`: it installs the
bundle twice, and uses what is installed as people do; it imports nothing of the program that it
starts. Prints what it saw as one line of JSON.
"""

import json
import os
import socket
import struct
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from fcntl import ioctl
from pathlib import Path
from typing import cast

import httpx2

from tests.cluster.day import TREMOR
from tests.cluster.machines import AppServer
from tests.cluster.people import Person
from tests.web.clinic import Clinic, Member
from tests.web.test_review import settled

PORT = 8000
# seed_demo/clinic.toml
NURSE = Member("demo-nurse", "Teo Contoh", "nurse", "querrowick-nurse")
PHYSICIAN = Member("demo-physician", "Dr Bríd Sampla", "physician", "querrowick-physician")
# Linux: linux/sockios.h, net/if.h
SET_FLAGS, UP = 0x8914, 0x1
# For documentation and never in use: RFC 5737.
ELSEWHERE = ("192.0.2.1", 443)


def main() -> None:
    """Install, examine, sign, verify."""
    bundle, folder = (Path(each) for each in sys.argv[1:])
    seen: dict[str, object] = {"elsewhere": raise_loopback()}
    seen["installed"] = run(bundle / "install", folder)
    page = folder.parent / "page.pdf"
    with serving(folder) as server:
        page.write_bytes(examined(server.address))
        htmx = httpx2.get(f"{server.address}/static/vendor/htmx.min.js")
    seen["htmx"] = htmx.status_code
    seen["verified"] = run(folder / ".venv" / "bin" / "evenhand", "verify", page)
    seen["again"] = run(bundle / "install", folder)
    seen["page"] = str(page)
    sys.stdout.write(json.dumps(seen))


def raise_loopback() -> str:
    """Bring up this namespace's own loopback; what somewhere else answers."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        ioctl(asking, SET_FLAGS, struct.pack("16sh14x", b"lo", UP))
        try:
            asking.connect(ELSEWHERE)
        except OSError as error:
            return error.strerror or ""
    return "there is a way out"


def run(*command: object) -> tuple[int, str]:
    """How a command ended, and all that it said."""
    done = subprocess.run(
        [str(each) for each in command],
        check=False, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd="/",
    )  # fmt: skip
    return done.returncode, done.stdout


@contextmanager
def serving(folder: Path) -> Iterator[AppServer]:
    """The installed server, with the invented clinic in it."""
    # Browsers keep a cookie for https from their own machine; this client does not.
    (folder / ".env").write_text("EVENHAND_DEMO=true\nEVENHAND_PLAIN_HTTP=true\n", "utf-8")
    (folder / "data").mkdir()
    evenhand = str(folder / ".venv" / "bin" / "evenhand")
    server = AppServer(
        "installed", PORT, dict(os.environ), folder.parent / "log", program=(evenhand,), cwd=folder
    )
    server.start()
    try:
        server.wait_until_ready()
        yield server
    finally:
        server.stop()


def examined(address: str) -> bytes:
    """The nurse begins an exam, the physician completes and signs it; the signed page."""
    with Person.at(address, NURSE) as nurse:
        exam_id = nurse.start_exam()
        nurse.enter("turn_en_bloc", "", "2")
        handed = nurse.send(f"/exams/{exam_id}/ready", {"sent": "yes"})
        assert 303 == handed.status_code, handed.text
    with Person.at(address, PHYSICIAN) as physician:
        physician.open_exam(exam_id)
        for entry in TREMOR:
            physician.enter(*entry)
        form = settled(cast(Clinic, physician), exam_id) | {"password": PHYSICIAN.password}
        signed = physician.send(f"/exams/{exam_id}/sign", form)
        assert 303 == signed.status_code, signed.text
        page: bytes = physician.get(f"/exams/{exam_id}/pdf").content
        return page


if __name__ == "__main__":
    main()
