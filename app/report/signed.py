"""What a signed page says beyond the exam: who signed what and when, and what was added later."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.language.words import N_, Spoken, _
from app.report.phrases import clean, clean_lines, day, moment

DRAFT_STATES = ("open", "ready")
SIGNED_STATES = ("signed", "amended")
KINDS = Spoken(
    {"addendum": N_("addendum"), "late_entry": N_("late entry"), "correction": N_("correction")}
)


@dataclass(frozen=True)
class SignatureBlock:
    """One signature. signed_at: with the offset of the place where it was signed.

    content_sha256: of everything that was signed. audit: the row of the audit that was the newest
    then, as number:hash.
    """

    printed_name: str
    role: str
    meaning: str
    signed_at: datetime
    exam_id: str
    revision: int
    knowledge: str
    content_sha256: str
    audit: str

    def __post_init__(self) -> None:
        if self.signed_at.utcoffset() is None:
            raise ValueError("signed_at: a time without its offset")


@dataclass(frozen=True)
class Amendment:
    """A signed piece beside a signed exam. kind: addendum, late_entry or correction."""

    number: int
    kind: str
    reason: str
    text: str
    signature: SignatureBlock

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r}: not one of {', '.join(KINDS)}")


@dataclass(frozen=True)
class Decision:
    """What the physician decided on a next step; one that is declined has a reason."""

    step: str
    is_taken: bool
    reason: str = ""


@dataclass(frozen=True)
class StateWords:
    """The state as every page and the note name it. after: what stands beside it in small type.

    banner: a line below, on amended pages alone.
    """

    word: str
    after: str
    banner: str = ""


@dataclass(frozen=True)
class SignatureLines:
    """A signature in words. stands_for: exam, revision and knowledge version."""

    name: str
    role: str
    meaning: str
    when: str
    stands_for: str
    content_sha256: str
    audit: str


@dataclass(frozen=True)
class AmendmentLines:
    """An amendment in words. text: one for each line that was typed."""

    head: str
    reason: str
    text: tuple[str, ...]
    signature: SignatureLines


def check_signed(
    state: str,
    exam_id: str,
    knowledge: str,
    signature: SignatureBlock | None,
    amendments: Sequence[Amendment],
) -> None:
    """Refuse a draft that looks signed, a signed page without its signature, and a foreign one.

    Raises: ValueError.
    """
    if state not in (*DRAFT_STATES, *SIGNED_STATES):
        raise ValueError(f"state {state!r}: cannot be printed")
    if (state in SIGNED_STATES) != (signature is not None):
        raise ValueError(f"state {state!r}: {'no' if signature is None else 'a'} signature")
    if (state == "amended") != bool(amendments):
        raise ValueError(f"state {state!r}: {len(amendments)} amendments")
    numbers = [each.number for each in amendments]
    if numbers != list(range(1, len(numbers) + 1)):
        raise ValueError(f"amendments {numbers}: not 1, 2, 3 …")
    for each in (signature, *(amendment.signature for amendment in amendments)):
        if each is not None and each.exam_id != exam_id:
            raise ValueError("a signature of another exam")
    if signature is not None and signature.knowledge != knowledge:
        raise ValueError(
            f"signed under knowledge {signature.knowledge}, but assessed under {knowledge}"
        )


def state_words(signature: SignatureBlock | None, amendments: Sequence[Amendment]) -> StateWords:
    """DRAFT, SIGNED or AMENDED, with what a single sheet must say beside it."""
    if signature is None:
        return StateWords(_("DRAFT"), _("not signed"))
    if not amendments:
        return StateWords(_("SIGNED"), day(signature.signed_at))
    newest = amendments[-1]
    when = day(newest.signature.signed_at)
    return StateWords(
        _("AMENDED"),
        when,
        _(
            "Read amendment {number} first: {kind} of {when}, on page 1. Below it the "
            "exam stands as it was signed on {signed_at}."
        ).format(
            number=newest.number,
            kind=KINDS[newest.kind],
            when=when,
            signed_at=day(signature.signed_at),
        ),
    )


def signature_lines(signature: SignatureBlock) -> SignatureLines:
    """A signature in words."""
    return SignatureLines(
        name=clean(signature.printed_name, most=120),
        role=signature.role,
        meaning=clean(signature.meaning, most=240),
        when=moment(signature.signed_at),
        stands_for=(
            _("Exam {signature}, revision {revision}, knowledge {knowledge}").format(
                signature=clean(signature.exam_id, most=40),
                revision=signature.revision,
                knowledge=signature.knowledge,
            )
        ),
        content_sha256=signature.content_sha256,
        audit=signature.audit,
    )


def seal_words(signature: SignatureBlock | None, sealed_by: str) -> str:
    """Whether the file carries the clinic's seal, and whose; nothing on a draft.

    A seal is an organisation's; it must not be taken for the physician's own signature.
    """
    if signature is None:
        return ""
    if not sealed_by:
        return _("This file carries no seal of the clinic.")
    return _(
        "This file carries the clinic’s seal (an organisation’s seal, not a person’s "
        "qualified signature): {sealed_by}"
    ).format(sealed_by=clean(sealed_by, most=160))


def amendment_lines(amendments: Sequence[Amendment]) -> tuple[AmendmentLines, ...]:
    """The amendments in words, the newest first."""
    return tuple(
        AmendmentLines(
            head=_("Amendment {number}: {kind} of {signed_at}").format(
                number=each.number, kind=KINDS[each.kind], signed_at=day(each.signature.signed_at)
            ),
            reason=clean(each.reason),
            text=clean_lines(each.text),
            signature=signature_lines(each.signature),
        )
        for each in reversed(amendments)
    )
