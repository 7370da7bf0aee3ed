"""A nurse and a physician at work on one exam after the other, whatever happens to the server."""

import hashlib
import itertools
import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from queue import Empty, Full, Queue
from threading import Event
from typing import cast

from app.exam.vocabulary import vocabulary
from app.web.sheet import typed_of
from tests.cluster.people import Person, found
from tests.soak.acts import (
    Act,
    Entered,
    HandedOver,
    RestNormal,
    Reviewed,
    Signed,
    Started,
    TakenBack,
)
from tests.web.clinic import HTMX, Clinic
from tests.web.test_review import amendment, settled

NURSES_STATIONS = ("history", "gait")
PHYSICIANS_STATIONS = ("rest", "posture", "repeat", "tone")
STATIONS_WITH_REST = ("rest", "posture", "repeat", "tone", "gait")
# The review may open further points once it is saved.
MOST_FORMS = 5


@dataclass(frozen=True)
class Case:
    """An exam that goes from a nurse to a physician. done: the nurse has handed it over."""

    exam_id: str
    done: Event = field(default_factory=Event)


@dataclass
class Shift:
    """What two people share. stop: nobody begins anything new; signing: somebody is at it."""

    random: random.Random
    name: str
    stop: Event
    signing: Event
    cases: "Queue[Case]" = field(default_factory=lambda: Queue(1))


@dataclass
class Worker(Person):
    """Somebody who works until the shift ends, and remembers what they were told."""

    # A signature may be cut off by every kill of a round; after the last one it is answered.
    most_tries: int = 5000
    acts: list[Act] = field(default_factory=list)
    not_signed: int = 0

    def begin(self, chart_number: str) -> str:
        """A new patient's exam."""
        exam_id = self.start_exam(chart_number=chart_number)
        self.acts.append(Started(exam_id, self.member.name))
        return exam_id

    def enter(self, finding: str, side: str, value: str, *, answer_is_lost: bool = False) -> None:
        """Enter one cell and hear that it is saved."""
        super().enter(finding, side, value, answer_is_lost=answer_is_lost)
        made = self.acknowledged[-1].made
        self.acts.append(Entered(self.exam_id, self.member.name, finding, side, value, made))

    def mark_rest_normal(self, station: str) -> None:
        """Mark the rest of a station normal."""
        answer = self._saved("normal", {"station": station})
        # Where there was no rest, nothing is made.
        for made in re.findall(r'data-made="(\d+)"', answer):
            self.acts.append(RestNormal(self.exam_id, self.member.name, station, int(made)))

    def take_back(self) -> None:
        """Take back the last thing that was written, where that was in this exam."""
        last = self.acts[-1] if self.acts else None
        if isinstance(last, Entered | RestNormal) and last.exam_id == self.exam_id:
            self._saved("undo", {"of": str(last.revision)})
            self.acts.append(TakenBack(self.exam_id, self.member.name, last.revision))

    def hand_over(self) -> None:
        """Hand the exam over."""
        answer = self.send(f"/exams/{self.exam_id}/ready", {"sent": "yes"})
        assert 303 == answer.status_code, answer.text
        self.acts.append(HandedOver(self.exam_id, self.member.name))

    def review(self, words: str) -> None:
        """Save an impression and a plan."""
        form = settled(cast(Clinic, self), self.exam_id)
        form |= {"impression": f"{words}: slow.", "plan": f"{words}: see again."}
        self._send_review("review", form)

    def sign(self) -> bool:
        """Settle everything and sign; the page has to come. No: something is left to settle."""
        for _ in range(MOST_FORMS):
            form = settled(cast(Clinic, self), self.exam_id)
            # Some never stand together; none is chosen.
            form = {name: value for name, value in form.items() if not name.startswith("code")}
            if self._send_review("sign", form) == 303:
                self._keep_page(0)
                return True
        self.not_signed += 1
        return False

    def amend(self, text: str) -> None:
        """Sign an addendum beside the exam."""
        form = amendment(cast(Clinic, self), self.exam_id, text=text)
        answer = self.send(f"/exams/{self.exam_id}/amend", form)
        assert 303 == answer.status_code, answer.text
        self._keep_page(int(form["after"]) + 1)

    def _saved(self, where: str, form: dict[str, str]) -> str:
        seen = {"revision": str(self.revision), "seen": str(self.revision)}
        path = f"/exams/{self.exam_id}/{where}"
        answer = self._answered("POST", path, data=form | seen, headers=HTMX)
        assert 200 == answer.status_code, (where, form, answer.text)
        self.revision = int(found(r'id="revision" value="(\d+)"', answer.text))
        text: str = answer.text
        return text

    def _send_review(self, to: str, form: dict[str, str]) -> int:
        answer = self.send(f"/exams/{self.exam_id}/{to}", form)
        assert answer.status_code in (303, 412, 422), answer.text
        # Where the signature waits for something the words are saved all the same.
        words = form["impression"], form["plan"]
        self.acts.append(Reviewed(self.exam_id, self.member.name, *words))
        status: int = answer.status_code
        return status

    def _keep_page(self, number: int) -> None:
        page = self.get(f"/exams/{self.exam_id}/documents/{number}")
        assert 200 == page.status_code, page.text
        sha256 = hashlib.sha256(page.content).hexdigest()
        self.acts.append(Signed(self.exam_id, self.member.name, number, sha256))


def nurse_works(nurse: Worker, shift: Shift) -> None:
    """Start exams, enter, hand over, until the shift ends."""
    cells = _Cells(shift.random, NURSES_STATIONS)
    for number in itertools.count(1):
        if shift.stop.is_set():
            return
        case = Case(nurse.begin(f"{shift.name}-{number}"))
        if not _put(case, shift):
            return
        _enter(nurse, shift, cells)
        if not shift.stop.is_set():
            nurse.hand_over()
        case.done.set()


def physician_works(physician: Worker, shift: Shift) -> None:
    """Take an exam over, enter beside the nurse, review, sign, amend, until the shift ends."""
    cells = _Cells(shift.random, PHYSICIANS_STATIONS)
    for number in itertools.count(1):
        case = _next(shift)
        if case is None:
            return
        physician.open_exam(case.exam_id)
        _enter(physician, shift, cells)
        while not case.done.wait(0.05):
            if shift.stop.is_set():
                return
        if shift.stop.is_set():
            return
        physician.review(f"Draft {number}")
        shift.signing.set()
        is_signed = physician.sign()
        if is_signed and number % 2 and not shift.stop.is_set():
            shift.signing.set()
            physician.amend(f"Bloods {number} are normal.")


class _Cells:
    """Draws what is entered next: cells of some stations with a value that each can have."""

    def __init__(self, chance: random.Random, stations: Sequence[str]) -> None:
        self.stations = stations
        self._chance = chance
        self._cells = [
            (finding.id, side.value if side else "", typed_of(normal).value)
            for station in stations
            for finding in vocabulary().at(station)
            if finding.core and finding.detail_of is None
            if (normal := finding.normal_value()) is not None
            for side in finding.sides
        ]

    def draw(self) -> Iterator[tuple[str, str, str]]:
        """Some cells, no cell twice."""
        for finding, side, normal in self._chance.sample(self._cells, self._chance.randint(3, 8)):
            value = self._chance.choice("0123") if normal == "0" else normal
            yield finding, side, value


def _enter(who: Worker, shift: Shift, cells: _Cells) -> None:
    chance = shift.random
    for cell in cells.draw():
        if shift.stop.is_set():
            return
        who.enter(*cell)
        if chance.random() < 0.25:
            who.take_back()
    stations = [each for each in cells.stations if each in STATIONS_WITH_REST]
    if not shift.stop.is_set():
        who.mark_rest_normal(chance.choice(stations))
        if chance.random() < 0.25:
            who.take_back()


def _put(case: Case, shift: Shift) -> bool:
    while not shift.stop.is_set():
        try:
            shift.cases.put(case, timeout=0.1)
        except Full:
            continue
        return True
    return False


def _next(shift: Shift) -> Case | None:
    while not shift.stop.is_set():
        try:
            return shift.cases.get(timeout=0.1)
        except Empty:
            continue
    return None
