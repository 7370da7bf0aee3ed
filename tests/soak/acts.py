"""What somebody was told was done: each act with what must stand in the record for it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Started:
    """An exam was opened for a new patient."""

    exam_id: str
    by: str


@dataclass(frozen=True)
class Entered:
    """One cell was saved under this revision."""

    exam_id: str
    by: str
    finding: str
    side: str
    value: str
    revision: int


@dataclass(frozen=True)
class RestNormal:
    """The rest of a station was marked normal under this revision."""

    exam_id: str
    by: str
    station: str
    revision: int


@dataclass(frozen=True)
class TakenBack:
    """What this person had written under this revision was taken back."""

    exam_id: str
    by: str
    of: int


@dataclass(frozen=True)
class HandedOver:
    """The exam was handed over to the physician."""

    exam_id: str
    by: str


@dataclass(frozen=True)
class Reviewed:
    """The impression and the plan were saved."""

    exam_id: str
    by: str
    impression: str
    plan: str


@dataclass(frozen=True)
class Signed:
    """A piece was signed, and its page came in these bytes. number: 0 is the exam itself."""

    exam_id: str
    by: str
    number: int
    page_sha256: str


Act = Started | Entered | RestNormal | TakenBack | HandedOver | Reviewed | Signed
