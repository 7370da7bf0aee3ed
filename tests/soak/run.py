"""Kill, start again, look: round after round, each on a new database with people at work."""

import random
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from threading import Event

from sqlalchemy import text
from sqlmodel import Session

from app.store.engine import reading, writing
from tests.soak.acts import Act
from tests.soak.judge import half_written, lost
from tests.soak.people import Shift, Worker, nurse_works, physician_works
from tests.soak.servers import Nursery, Place, place
from tests.web.clinic import COLLEAGUE, NURSE, PHYSICIAN

# So many kills, then a new database: what is compared after each kill stays small.
KILLS_A_ROUND = 25
# What a kill waits for at most, in seconds.
LONGEST_WORK_S = 0.8
LONGEST_SIGNING_S = 0.6
LONGEST_START_S = 0.15
PATIENCE_S = 3
# One kill in so many is followed by a start from nothing, as a supervisor would start it.
FROM_NOTHING = 25


@dataclass
class Outcome:
    """What came of it. lost, half_written, untold: what was found, in words.

    kills: by what was killed and when; acts: what was acknowledged, by kind; unanswered: requests
    that got no answer, or one of a server whose database was away.
    """

    kills: Counter[str] = field(default_factory=Counter)
    acts: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    untold: list[str] = field(default_factory=list)
    half_written: list[str] = field(default_factory=list)
    unanswered: int = 0
    not_signed: int = 0

    @property
    def is_well(self) -> bool:
        """Whether all that was acknowledged is there once, and whole."""
        return not (self.lost or self.untold or self.half_written)


def soak(kinds: dict[str, int], seed: int) -> Iterator[tuple[str, Outcome]]:
    """So many kills on each kind of database, a round at a time; what came of each round."""
    nursery = Nursery()
    try:
        for kind, kills in kinds.items():
            for number in range(0, kills, KILLS_A_ROUND):
                chance = random.Random(f"{seed} {kind} {number}")
                here = min(KILLS_A_ROUND, kills - number)
                yield kind, one_round(kind, here, chance, nursery)
    finally:
        nursery.close()


def one_round(kind: str, kills: int, chance: random.Random, nursery: Nursery) -> Outcome:
    """People work on a new database while everything is killed so often."""
    outcome = Outcome()
    with place(kind, nursery) as at:
        with at_work(at, chance, outcome) as shifts:
            for number in range(1, kills + 1):
                outcome.kills[_kill(at, shifts, chance, number)] += 1
                with reading(at.engine) as session:
                    outcome.half_written += half_written(session)
        with reading(at.engine) as session:
            outcome.half_written += half_written(session)
        outcome.half_written += damaged(at)
    return outcome


@contextmanager
def at_work(at: Place, chance: random.Random, outcome: Outcome) -> Iterator[list[Shift]]:
    """Two nurses and two physicians at work; at the end they finish what they were at."""
    stop, signing = Event(), Event()
    workers: list[Worker] = []
    with ExitStack() as stack:
        shifts: list[Shift] = []
        running: list[Future[None]] = []
        pool = stack.enter_context(ThreadPoolExecutor(4))
        stack.callback(stop.set)
        for name, doctor in (("A", PHYSICIAN), ("B", COLLEAGUE)):
            shift = Shift(random.Random(chance.random()), name, stop, signing)
            for member in (NURSE, doctor):
                worker = stack.enter_context(Worker.at(at.server.address, member))
                assert isinstance(worker, Worker)
                workers.append(worker)
            shifts.append(shift)
        for shift, nurse, physician in zip(shifts, workers[::2], workers[1::2], strict=True):
            running.append(pool.submit(nurse_works, nurse, shift))
            running.append(pool.submit(physician_works, physician, shift))
        yield shifts
        stop.set()
        for each in running:
            each.result()
        acts: list[Act] = [act for worker in workers for act in worker.acts]
        with reading(at.engine) as session:
            missing, extra = lost(session, acts)
        outcome.lost += missing
        outcome.untold += extra
        outcome.acts.update(type(act).__name__ for act in acts)
        outcome.unanswered += sum(worker.retries for worker in workers)
        outcome.not_signed += sum(worker.not_signed for worker in workers)


def _kill(at: Place, shifts: list[Shift], chance: random.Random, number: int) -> str:
    """Kill something at a random moment, and start it again; what it was, in words."""
    moment = chance.random()
    if at.database and moment < 0.25:
        time.sleep(chance.uniform(0, LONGEST_WORK_S))
        at.database.kill()
        at.database.start()
        at.server.wait_until_ready()
        return f"{at.kind}: the database"
    if moment > 0.9:
        at.server.kill()
        at.server.start()
        time.sleep(chance.uniform(0, LONGEST_START_S))
        when = "while starting"
    elif moment > 0.5:
        signing = shifts[0].signing
        signing.clear()
        signing.wait(PATIENCE_S)
        time.sleep(chance.uniform(0, LONGEST_SIGNING_S))
        when = "after a signature began"
    else:
        time.sleep(chance.uniform(0, LONGEST_WORK_S))
        when = "at any moment"
    at.server.kill()
    at.server.start(from_nothing=number % FROM_NOTHING == 0)
    at.server.wait_until_ready()
    return f"{at.kind}: the server, {when}"


def damaged(at: Place) -> list[str]:
    """What PostgreSQL itself finds wrong in its tables and indexes, where it can be asked."""
    if at.database is None:
        return []
    with writing(at.engine) as session:
        return _checked_by_postgresql(session)


def _checked_by_postgresql(session: Session) -> list[str]:
    connection = session.connection()
    offered = "SELECT 1 FROM pg_available_extensions WHERE name = 'amcheck'"
    if connection.scalar(text(offered)) is None:
        return []
    connection.execute(text("CREATE EXTENSION IF NOT EXISTS amcheck"))
    of_ours = "relnamespace = 'public'::regnamespace"
    # It raises where an index and its table do not fit together.
    connection.execute(
        text(
            "SELECT bt_index_check(pg_class.oid, true) FROM pg_class "
            "JOIN pg_am ON pg_am.oid = relam "
            f"WHERE amname = 'btree' AND relkind = 'i' AND {of_ours}"
        )
    )
    rows = connection.execute(
        text(
            "SELECT relname, msg FROM pg_class, LATERAL verify_heapam(pg_class.oid) "
            f"WHERE relkind = 'r' AND {of_ours}"
        )
    )
    return [f"{name}: {says}" for name, says in rows]
