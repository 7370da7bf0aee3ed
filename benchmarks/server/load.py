"""Clients in a process of their own: `python -m benchmarks.server.load` takes jobs line by line.

Each line of standard input is one job as JSON, each line of standard output what came of it. A job
runs some clients for some seconds, each on a connection of its own that stays open, each waiting
for its answer before it sends again. The heads are written and read by hand: a library for HTTP
takes longer for a request than the floor that is measured.
"""

import asyncio
import json
import random
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

# What is answered before this is not counted.
WARM_S = 0.3
GRADES = 4
# After so many entries a clinician goes on to the next exam.
ENTRIES_EACH = 40


@dataclass
class Exam:
    """One exam that a client writes, and the newest of what it wrote."""

    id: str
    revision: int
    cells: list[list[Any]]
    at: int = 0


@dataclass
class Clinician:
    """One client: what it carries, and the exams that are its own."""

    cookie: str
    form_token: str
    exams: list[Exam]
    entered: int = 0

    def entry(self) -> bytes:
        """The request with which the sheet sends one entry: the next grade of the next cell."""
        exam = self.exams[self.entered // ENTRIES_EACH % len(self.exams)]
        cell = exam.cells[exam.at % len(exam.cells)]
        finding, side, grade = cell
        cell[2] = (grade + 1) % GRADES
        sent: dict[str, Any] = {"value": cell[2], "why": "", "finding": finding, "side": side}
        body = urlencode({**sent, "revision": exam.revision, "seen": exam.revision})
        exam.at += 1
        # Each makes one revision; a wrong one is refused, and then the job fails.
        exam.revision += 1
        self.entered += 1
        more = f"HX-Request: true\r\nX-Form-Token: {self.form_token}\r\n"
        kind = "application/x-www-form-urlencoded"
        return self._asked("POST", f"/exams/{exam.id}/cells", body, kind, more)

    def page(self) -> bytes:
        """The request for a sheet."""
        return self._asked("GET", f"/exams/{self.exams[0].id}")

    def naive(self) -> bytes:
        """The request to the floor."""
        exam = self.exams[0]
        finding, side, grade = exam.cells[0]
        sent = {"exam_id": exam.id, "finding": finding, "side": side, "value": grade}
        return self._asked("POST", "/entries/", json.dumps(sent), "application/json")

    def _asked(
        self, method: str, path: str, body: str = "", kind: str = "", more: str = ""
    ) -> bytes:
        sized = f"Content-Type: {kind}\r\nContent-Length: {len(body)}\r\n" if body else ""
        return (
            f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept-Encoding: gzip\r\n"
            f"Cookie: evenhand={self.cookie}\r\n{more}{sized}\r\n{body}"
        ).encode()


@dataclass
class Outcome:
    """What came of a job: milliseconds of each answer that counts; how many came, or refused."""

    took_ms: list[float] = field(default_factory=list)
    refused: int = 0
    answers: int = 0
    bytes: int = 0


async def _answer(reader: asyncio.StreamReader) -> tuple[int, int]:
    """The status and the length of the next answer."""
    head = await reader.readuntil(b"\r\n\r\n")
    status = int(head[9:12])
    at = head.lower().find(b"content-length:")
    length = int(head[at + 15 : head.index(b"\r\n", at)]) if at >= 0 else 0
    if length:
        await reader.readexactly(length)
    return status, length


async def _client(
    port: int, ask: Callable[[], bytes], until: float, think_s: float, outcome: Outcome
) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    counted_from = time.perf_counter() + WARM_S
    if think_s:
        # Nobody begins at the same moment.
        await asyncio.sleep(random.uniform(0, think_s))
    try:
        while (started := time.perf_counter()) < until:
            writer.write(ask())
            status, length = await _answer(reader)
            done = time.perf_counter()
            outcome.answers += 1
            if status >= 300:
                outcome.refused += 1
            elif started >= counted_from:
                outcome.took_ms.append((done - started) * 1000)
                outcome.bytes += length
            if think_s:
                await asyncio.sleep(max(0.0, random.uniform(0.8, 1.2) * think_s - (done - started)))
    finally:
        writer.close()


async def _run(job: dict[str, Any], people: list[Clinician]) -> dict[str, Any]:
    outcome, began = Outcome(), time.perf_counter()
    until = began + WARM_S + job["seconds"]
    cpu = time.process_time()
    await asyncio.gather(
        *(
            _client(job["port"], getattr(who, job["ask"]), until, job["think_s"], outcome)
            for who in people[: job["clients"]]
        )
    )
    spent = time.perf_counter() - began
    return {
        "took_ms": outcome.took_ms,
        "refused": outcome.refused,
        "answers": outcome.answers,
        "bytes": outcome.bytes,
        "busy": (time.process_time() - cpu) / spent,
    }


def main() -> int:
    """Take the people, then jobs until there are no more."""
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, hard), hard))
    people = [
        Clinician(each["cookie"], each["form_token"], [Exam(**exam) for exam in each["exams"]])
        for each in json.loads(sys.stdin.readline())
    ]
    for line in sys.stdin:
        if not line.strip():
            # How many entries were acknowledged, so that they can be looked for.
            told: dict[str, Any] = {"entered": sum(who.entered for who in people)}
        else:
            told = asyncio.run(_run(json.loads(line), people))
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
