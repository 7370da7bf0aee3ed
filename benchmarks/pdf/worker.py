"""One worker: `python -m benchmarks.pdf.worker JOB ENGINE FILE COUNT` prints one JSON object.

JOB is `cold` (nothing was loaded before the first file), `warm` (as a server that has just started
works), `sealed` (each file is sealed too) or `memory` (what the process holds afterwards).
"""

import json
import os
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

# The first files fill what is kept on purpose, such as the fonts.
SETTLING = 40
WINDOW = 20


def timed(make: Callable[[], object]) -> tuple[float, float]:
    """CPU and wall time of one call, in milliseconds."""
    cpu, wall = time.process_time(), time.perf_counter()
    make()
    return (time.process_time() - cpu) * 1000, (time.perf_counter() - wall) * 1000


def resident_kib() -> int:
    """What the process holds in memory now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") // 1024


def make_some(engine: str, file: Path, count: int, *, is_cold: bool) -> dict[str, Any]:
    """The first file and some more. The import of an engine belongs to its first file."""
    started: dict[str, Callable[[], bytes]] = {}
    prepare = _ours(is_cold=is_cold) if engine == "ours" else _peer(engine, file)

    def first() -> None:
        started["make"] = prepare()
        started["make"]()

    took = [timed(first), *(timed(started["make"]) for _ in range(count - 1))]
    return {"took_ms": took}


def _peer(engine: str, file: Path) -> Callable[[], Callable[[], bytes]]:
    from benchmarks.pdf.engines import PEERS

    html = file.read_text("utf-8")
    return lambda: PEERS[engine](html)


def _ours(*, is_cold: bool) -> Callable[[], Callable[[], bytes]]:
    from app.report.pdf import warm_up
    from app.web.process import settle
    from benchmarks.pdf.content import ours, report

    asked = report()
    if not is_cold:
        warm_up()
        settle()
    return lambda: ours(asked)


def seal_some(count: int) -> dict[str, Any]:
    """Make and seal: CPU milliseconds of both."""
    from app.report.pdf import warm_up
    from app.report.seal import Seal
    from app.report.seal_key import own_key
    from app.web.process import settle
    from benchmarks.pdf.content import ours, report

    now = datetime.now(UTC)
    warm_up()
    with TemporaryDirectory() as folder:
        seal = Seal(own_key(Path(folder) / "key.p12", "Example Clinic", now - timedelta(days=1)))
    settle()
    make = ours(report())
    content = make()
    seal.sealed(content, now)
    pairs = [(timed(make)[0], timed(lambda: seal.sealed(content, now))[0]) for _ in range(count)]
    return {"pairs_ms": pairs}


def fill(count: int) -> dict[str, Any]:
    """Make so many in a row; how much more the process holds at the end, in MiB."""
    from app.report.pdf import warm_up
    from app.web.process import settle
    from benchmarks.pdf.content import ours, short_report

    warm_up()
    settle()
    make = ours(short_report())
    held = []
    for _ in range(SETTLING + count):
        make()
        held.append(resident_kib())
    before = statistics.median(held[SETTLING - WINDOW : SETTLING])
    after = statistics.median(held[-WINDOW:])
    return {"growth_mib": (after - before) / 1024, "held_mib": after / 1024, "count": count}


def main() -> int:
    """Do the job."""
    job, engine, file, count = sys.argv[1], sys.argv[2], Path(sys.argv[3]), int(sys.argv[4])
    if job == "memory":
        told = fill(count)
    elif job == "sealed":
        told = seal_some(count)
    else:
        told = make_some(engine, file, count, is_cold=job == "cold")
    sys.stdout.write(json.dumps(told) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
