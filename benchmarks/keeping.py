"""How long a backup and a restore take, and what a backup costs whoever records meanwhile.

`python -m benchmarks.keeping` fills a SQLite file and a PostgreSQL with signed exams, each with a
page of the weight of a real one, and runs `evenhand backup` and `evenhand restore` as a clinic
does, while another process records one entry after the other. The last line printed is one JSON
object. --short: few exams, to see that it works.

PostgreSQL is that of the tests, which waits for no disk; pg_dump and pg_restore are the real ones.
"""

import json
import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side
from app.settings import ROOT
from app.store.engine import make_engine, migrate, reading
from app.store.exams import exam_record
from tests.postgres import fresh_database
from tests.store.clinic import an_exam, write
from tests.store.desk import an_account, changed, decide, signed, to_sign

EXAMS, FEW = 2000, 200
ENTRIES = ("drift", "finger_tap_slow", "toe_tap_slow", "rest_tremor_hand", "arm_resistance")
# As heavy as a sealed page with its files inside.
PAGE_BYTES = 130_000
REPEATS, ONCE = 5, 1
PAUSE_S = 0.05
# A clinic can be back within so long, and loses no save from before the backup began.
RESTORE_AIM_S = 120.0


def fill(url: str, exams: int) -> None:
    """Signed exams with ten entries each."""
    engine = make_engine(url)
    migrate(engine)
    an_account(engine)
    for number in range(exams):
        exam = an_exam(engine, chart_number=f"B-{number}")
        both: dict[Cell, Recorded | None] = {
            (name, side): 1 for name in ENTRIES for side in (Side.RIGHT, Side.LEFT)
        }
        write(engine, exam.id, both, 0)
        decide(engine, exam.id, {("impression", ""): "A slow hand."}, 1)
        page = b"%PDF" + os.urandom(PAGE_BYTES)
        signed(engine, exam.id, changed(to_sign(engine, exam.id), document=page))
    engine.dispose()


def record_on(url: str) -> None:
    """Record until nobody reads any more; a line for each save that was acknowledged."""
    engine = make_engine(url)
    exam, revision = an_exam(engine, chart_number=f"W-{os.getpid()}-{time.time_ns()}").id, 0
    while True:
        begun = time.perf_counter()
        write(engine, exam, {("drift", Side.RIGHT): revision % 3}, revision)
        revision += 1
        took = time.perf_counter() - begun
        try:
            print(json.dumps([exam, revision, took]), flush=True)
        except BrokenPipeError:
            os._exit(0)
        # Somebody who is quick; without it one process would hold the only writer's place.
        time.sleep(PAUSE_S)


@contextmanager
def recording(url: str, into: Path) -> Iterator[None]:
    """Another process that records meanwhile; what it was told is kept is in the file."""
    with into.open("wb") as out:
        running = subprocess.Popen(
            [sys.executable, "-m", "benchmarks.keeping", "--record", url], cwd=ROOT, stdout=out
        )
        try:
            while len(kept_in(into)) < 20:
                time.sleep(0.01)
            yield
        finally:
            running.terminate()
            running.wait()


def kept_in(file: Path) -> list[tuple[str, int, float]]:
    """What was acknowledged: exam, revision, seconds."""
    return [tuple(json.loads(line)) for line in file.read_bytes().split(b"\n")[:-1]]


def command(url: str, *arguments: str) -> float:
    """Run a command as a clinic does; its seconds, with the start of the program."""
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "app", *arguments],
        check=True,
        cwd=ROOT,
        env=os.environ | {"EVENHAND_DATABASE_URL": url},
        stdout=subprocess.DEVNULL,
    )
    return time.perf_counter() - begun


def measured(kind: str, url: str, folder: Path, repeats: int) -> dict[str, Any]:
    """One kind of database."""
    backups, restores, before, during, lost = [], [], [], [], 0
    for number in range(repeats):
        backup, saves = folder / f"{kind}{number}", folder / f"{kind}{number}.saves"
        with recording(url, saves):
            quiet = kept_in(saves)
            backups.append(command(url, "backup", str(backup)))
            all_of = kept_in(saves)
        before += [took for _, _, took in quiet]
        during += [took for _, _, took in all_of[len(quiet) :]]
        with ExitStack() as stack:
            place = (
                f"sqlite:///{folder / f'again{number}.db'}"
                if kind == "sqlite"
                else stack.enter_context(fresh_database(migrated=False))
            )
            restores.append(command(place, "restore", str(backup)))
            engine = make_engine(place)
            with reading(engine) as session:
                exam, revision, _ = quiet[-1]
                lost += max(0, revision - exam_record(session, exam).revision)
            engine.dispose()
    size = sum(each.stat().st_size for each in backup.iterdir())
    return {
        "backup_s": round(statistics.median(backups), 1),
        "restore_s": round(statistics.median(restores), 1),
        "mb": round(size / 1e6),
        "save_before_ms": round(1000 * statistics.median(before), 1),
        "save_during_ms": round(1000 * statistics.median(during), 1),
        "longest_save_during_ms": round(1000 * max(during)),
        "saves_during": len(during),
        "lost": lost,
    }


def main(arguments: list[str]) -> int:
    """Measure and print; or record, as the other process."""
    if arguments[:1] == ["--record"]:
        record_on(arguments[1])
    exams, repeats = (FEW, ONCE) if arguments == ["--short"] else (EXAMS, REPEATS)
    print(f"{platform.platform()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    print(f"{exams} signed exams, {repeats} times")
    found = {}
    with TemporaryDirectory() as name, fresh_database(migrated=False) as postgresql:
        folder = Path(name)
        for kind, url in (("sqlite", f"sqlite:///{folder}/full.db"), ("postgresql", postgresql)):
            fill(url, exams)
            found[kind] = measured(kind, url, folder, repeats)
            print(kind, found[kind])
    restore = max(each["restore_s"] for each in found.values())
    lost = sum(each["lost"] for each in found.values())
    aims = {
        "restore_s": {"value": restore, "aim": RESTORE_AIM_S, "met": restore <= RESTORE_AIM_S},
        "lost": {"value": lost, "aim": 0, "met": lost == 0},
    }
    print(json.dumps({"aims": aims}))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
