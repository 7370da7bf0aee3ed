"""One exam by two people across the servers, while one of them is killed; and what was kept."""

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import cast

import psycopg
from sqlalchemy import Engine, make_url

from app.exam.vocabulary import vocabulary
from app.store.engine import make_engine, reading
from app.store.entries import EntryRecord, history
from app.store.exams import exam_record
from app.store.verify import verify
from app.web.sheet import typed_of
from tests.cluster.machines import LOOK_EVERY_S, PATIENCE_S, Machines
from tests.cluster.people import Acknowledged, Person
from tests.web.clinic import NURSE, PHYSICIAN, Clinic, add_members
from tests.web.test_review import settled

# A cell: finding, side, and what is entered.
Entry = tuple[str, str, str]
NURSES_STATIONS = ("history", "gait")
PHYSICIANS_STATIONS = ("rest", "posture", "repeat", "tone")
# Slow and shrinking taps with a rest tremor on the same side: parkinsonism by the MDS criteria of
# 2015 (postuma2015), which both people must see.
TREMOR: tuple[Entry, ...] = (
    ("finger_tap_slow", "right", "2"),
    ("finger_tap_decrement", "right", "2"),
    ("rest_tremor_hand", "right", "2"),
)


@dataclass(frozen=True)
class Outcome:
    """What came of it.

    entries: in the record; acknowledged: of which a person was told that they are saved; lost,
    twice: of those, how many are not there, or more than once; retries: how often somebody had to
    send or ask again.
    """

    entries: int
    acknowledged: int
    lost: int
    twice: int
    retries: int
    killed: int
    signed: bool

    @property
    def is_well(self) -> bool:
        """Whether everything is there once, and signed."""
        return self.signed and self.entries == self.acknowledged and not (self.lost or self.twice)

    def as_json(self) -> dict[str, int | bool]:
        """As the last line prints it."""
        return asdict(self)


def run(at: Machines, *, each: int, rounds: int) -> Outcome:
    """The exam. each: entries of each person between two kills; rounds: how often one is killed."""
    add_members_to(at)
    with (
        Person.at(at.address, NURSE) as nurse,
        Person.at(at.address, PHYSICIAN) as physician,
    ):
        exam_id = nurse.start_exam()
        physician.open_exam(exam_id)
        _see_each_other(nurse, physician)
        nurses = _entries(NURSES_STATIONS, each * rounds)
        rest = _entries(PHYSICIANS_STATIONS, each * rounds - len(TREMOR), TREMOR)
        physicians = (*TREMOR, *rest)
        for number in range(rounds):
            share = slice(number * each, (number + 1) * each)
            _while_a_server_dies(at, nurse, nurses[share], physician, physicians[share])
        is_signed = _sign(at, physician)
    people = (nurse, physician)
    told = [one for person in people for one in person.acknowledged]
    with opened(at) as engine, reading(engine) as session:
        held, audit = exam_record(session, exam_id), verify(session)
        entries = history(session, exam_id)
    assert not audit.alterations, audit.alterations
    lost, twice = compared(entries, told)
    return Outcome(
        entries=len(entries),
        acknowledged=len(told),
        lost=lost,
        twice=twice,
        retries=sum(person.retries for person in people),
        killed=rounds,
        signed=is_signed and held.state == "signed",
    )


def add_members_to(at: Machines) -> None:
    """Give everybody an account."""
    with opened(at) as engine:
        add_members(engine)


@contextmanager
def opened(at: Machines) -> Iterator[Engine]:
    """The database itself."""
    engine = make_engine(at.url)
    yield engine
    engine.dispose()


def compared(entries: Sequence[EntryRecord], told: Sequence[Acknowledged]) -> tuple[int, int]:
    """How many entries that somebody was told of are missing, and how many are there too often."""
    kept = Counter(
        (each.by, each.finding, str(each.side or ""), typed_of(each.value).value, each.revision)
        for each in entries
    )
    wanted = Counter((each.by, each.finding, each.side, each.value, each.made) for each in told)
    return (wanted - kept).total(), (kept - wanted).total()


def _entries(stations: Sequence[str], count: int, but: Sequence[Entry] = ()) -> list[Entry]:
    """Entries into cells of these stations, the normal value first and then others, no two alike
    in a row in one cell.
    """
    taken = {(finding, side) for finding, side, _ in but}
    cells: list[list[Entry]] = [
        [(finding.id, side_name, value) for value in ("0", "1", "2")]
        if normal == "0"
        else [(finding.id, side_name, normal)]
        for station in stations
        for finding in vocabulary().at(station)
        if finding.core and finding.detail_of is None
        if (normal := typed_of(finding.normal_value()).value)
        for side_name in (side.value if side else "" for side in finding.sides)
        if (finding.id, side_name) not in taken
    ]
    made: list[Entry] = [values[0] for values in cells]
    graded = [values for values in cells if len(values) > 1]
    turn = 1
    while len(made) < count:
        made += [values[turn % 3] for values in graded]
        turn += 1
    return made[:count]


def _see_each_other(nurse: Person, physician: Person) -> None:
    """What one enters stands on the other's sheet at the next question, whoever answers it."""
    nurse.updates("gait")
    nurse.enter("turn_en_bloc", "", "2")
    seen = physician.updates("rest")
    assert 'id="c-turn_en_bloc"' in seen, seen
    assert f"by {NURSE.name}" in seen, seen
    assert f"{NURSE.name} (nurse) is in" in seen, seen
    # Saved, and the answer did not arrive.
    physician.enter("arm_swing_reduced", "right", "1", answer_is_lost=True)
    assert 'id="c-arm_swing_reduced-right"' in nurse.updates("gait")


def _while_a_server_dies(
    at: Machines,
    nurse: Person,
    nurses: Sequence[Entry],
    physician: Person,
    physicians: Sequence[Entry],
) -> None:
    """Both enter; in the middle a server that is just answering one of them is killed."""
    _wait_for_all(at)
    work = (nurse, nurses), (physician, physicians)
    with ThreadPoolExecutor(len(work)) as both:
        first = [both.submit(_enter, who, todo[: len(todo) // 2]) for who, todo in work]
        for each in first:
            each.result()
        # Whoever writes now waits for this transaction, and so does the server that it came to.
        with _connected(at) as holding:
            holding.execute("SELECT id FROM exam WHERE id = %s FOR UPDATE", [nurse.exam_id])
            rest = [both.submit(_enter, who, todo[len(todo) // 2 :]) for who, todo in work]
            victim = at.server(_waiting(at, len(rest))[0])
            victim.kill()
            holding.rollback()
        for each in rest:
            each.result()
    victim.start()
    for person in (nurse, physician):
        person.updates()


def _wait_for_all(at: Machines) -> None:
    for each in at.servers:
        each.wait_until_ready()


def _waiting(at: Machines, count: int) -> list[str]:
    """The names of the servers whose writes wait, once so many do."""
    asked = (
        "SELECT application_name FROM pg_stat_activity "
        "WHERE datname = current_database() AND wait_event_type = 'Lock'"
    )
    until = time.monotonic() + PATIENCE_S
    with _connected(at) as looking:
        looking.autocommit = True
        while time.monotonic() < until:
            names = [name for (name,) in looking.execute(asked).fetchall()]
            if len(names) >= count:
                return sorted(names)
            time.sleep(LOOK_EVERY_S)
    raise AssertionError("nobody waits")


def _connected(at: Machines) -> "psycopg.Connection[tuple[str, ...]]":
    address = make_url(at.url).set(drivername="postgresql")
    return psycopg.connect(address.render_as_string(hide_password=False))


def _enter(person: Person, entries: Sequence[Entry]) -> None:
    for entry in entries:
        person.enter(*entry)


def _sign(at: Machines, physician: Person) -> bool:
    """Review and sign, while the server that died comes back; the page is the same from each."""
    exam_id = physician.exam_id
    form = settled(cast(Clinic, physician), exam_id)
    answer = physician.send(f"/exams/{exam_id}/sign", form)
    assert 303 == answer.status_code, answer.text
    _wait_for_all(at)
    pages = {physician.get(f"/exams/{exam_id}/pdf").content for _ in range(4)}
    return len(pages) == 1 and pages.pop().startswith(b"%PDF")
