"""From an exam and its review to the page on which it is reviewed: everything in words."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property

from app.assess.assessment import Assessment, Reason
from app.assess.words import finding_words, urgency_words
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.mentions import cause_label
from app.language.words import N_, _
from app.report.coverage import coverage
from app.report.grid import GridStation, full_grid
from app.report.listing import not_examined_words, others_words, untestable_groups
from app.report.phrases import by_finding, capital, clean, folded
from app.store.clinic_settings import ClinicSettings
from app.store.exams import ExamRecord
from app.store.review import Review
from app.web.fresh_proof import proof_path
from app.web.meanwhile import medicines_words, recorded_words
from app.web.pages import Fault, Field, SaveStatus
from app.web.panel import panel
from app.web.review_pages import (
    CodeView,
    ConfirmView,
    EmergencyView,
    EnteredView,
    LackView,
    NewsView,
    ReviewPage,
    SuggestionView,
)
from app.web.reviewing import Code, Emergency, Points, Suggestion, ToConfirm, points
from app.web.wording import STATE_WORDS, exam_time, local, who

MEANING = N_(
    "I examined this patient or reviewed the findings recorded here, and this summary is mine."
)


@dataclass(frozen=True)
class Reviewed:
    """An exam and its review at one revision, with what they add up to."""

    held: ExamRecord
    review: Review
    assessment: Assessment
    settings: ClinicSettings

    # Asked for several times in one request, and each time it judges every code anew.
    @cached_property
    def points(self) -> Points:
        """What is to be settled."""
        return points(self.held, self.assessment, self.review)


@dataclass(frozen=True)
class Typed:
    """What came with a form that was not accepted, or with one that was saved.

    form: what was typed; faults: by the name of the field; general: about no field. news: what
    changed since the page was loaded. seen: the revision whose entries the page shows. kept:
    what became of a form with faults, where anything of it was saved.
    """

    form: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    general: tuple[str, ...] = ()
    news: NewsView | None = None
    seen: int | None = None
    kept: str = ""


def review_page(
    reviewed: Reviewed,
    known: Knowledge,
    *,
    has_password: bool,
    status: SaveStatus | None = None,
    typed: Typed | None = None,
) -> ReviewPage:
    """The page on which an exam is reviewed and signed."""
    typed = typed or Typed()
    held, review, settled = reviewed.held, reviewed.review, reviewed.points
    examined = local(held.examined_at)
    # Those of the emergencies stand in their own boxes.
    own = {each.raised.id for each in settled.emergencies}
    pathways = {
        name: words for name, words in reviewed.settings.pathways.items() if name not in own
    }

    def text(name: str, kept: str = "") -> Field:
        return Field(typed.form.get(name, kept), typed.faults.get(name, ""))

    return ReviewPage(
        title=_("Review"),
        faults=(
            *(Fault("review", says) for says in typed.general),
            *(Fault(name, says) for name, says in typed.faults.items()),
        ),
        kept=typed.kept,
        exam_id=held.id,
        revision=held.revision if typed.seen is None else typed.seen,
        saved=held.revision,
        who=who(held.patient, examined.date()),
        state=STATE_WORDS[held.state],
        started=exam_time(held),
        reason=held.reason,
        status=status or SaveStatus(_("all saved")),
        emergencies=tuple(_emergency(each, reviewed, known) for each in settled.emergencies),
        to_confirm=tuple(_to_confirm(each, known) for each in settled.to_confirm),
        entered=entered(held, reviewed.assessment),
        impression=text("impression", review.impression),
        plan=text("plan", review.plan),
        for_patient=text("for_patient", review.for_patient),
        side_query=settled.side_query,
        are_suggestions_open=not reviewed.settings.impression_first or bool(review.impression),
        # The steps stand below, each with its decision.
        panel=replace(panel(held.exam, reviewed.assessment, known, pathways), steps=()),
        suggestions=tuple(
            _suggestion(each, reviewed, known, typed) for each in settled.suggestions
        ),
        codes=tuple(_code(each, known, typed) for each in settled.codes),
        codes_from=f"{known.icd.classification}, {known.icd.release}",
        lacking=tuple(LackView(each.anchor, each.says) for each in settled.lacking),
        news=typed.news,
        meaning=_(MEANING),
        has_password=has_password,
        proof_path=proof_path(f"/exams/{held.id}/review"),
        initials=text("initials"),
        birth_year=text("birth_year"),
        password=Field(fault=typed.faults.get("password", "")),
    )


def entered(held: ExamRecord, assessment: Assessment) -> EnteredView:
    """Everything that was recorded, and everything that was not."""
    stations = coverage(held.exam)
    bulk = dict.fromkeys(
        vocabulary()[finding].station for (finding, _side), each in held.cells.items() if each.bulk
    )
    marked = {
        station: sum(
            each.bulk and vocabulary()[finding].station == station
            for (finding, _side), each in held.cells.items()
        )
        for station in bulk
    }
    labels = {station.id: station.label for station in vocabulary().stations}
    return EnteredView(
        stations=tuple(_recorded(full_grid(held.exam))),
        medicines=medicines_words(held.exam.medicines),
        bulk=tuple(
            _("{labels}: {count} marked in one step").format(labels=labels[station], count=count)
            for station, count in marked.items()
        ),
        conflicts=tuple(conflict.says for conflict in assessment.conflicts),
        not_examined=not_examined_words(stations),
        others=others_words(stations),
        untestable=tuple(
            f"{', '.join(folded(list(cells)))}: {reason}"
            for reason, cells in untestable_groups(held.exam)
        ),
    )


def _recorded(stations: tuple[GridStation, ...]) -> Iterator[GridStation]:
    """The rows in which anything was recorded; what was not examined is listed by itself."""
    for station in stations:
        rows = tuple(
            row for row in station.rows if any(cell.kind != "unknown" for cell in row.cells)
        )
        if rows:
            yield GridStation(station.label, rows)


def news_since(reviewed: Reviewed, seen: int, path: str) -> NewsView | None:
    """What was recorded after a revision, in words; None where nothing was."""
    held = reviewed.held
    lines = [
        _("{cell}: {value}, by {by}, {at}").format(
            cell=capital(finding_words(*cell)),
            value=recorded_words(cell, each.value),
            by=each.by,
            at=f"{local(each.at):%H:%M}",
        )
        for cell, each in held.cells.items()
        if each.revision > seen
    ]
    medicines = held.medicines_record
    if medicines is not None and medicines.revision > seen:
        lines.append(
            _("Medicines: {lines}, by {by}").format(
                lines=medicines_words(medicines.lines), by=medicines.by
            )
        )
    return NewsView(tuple(lines), path) if lines else None


def saved_now() -> SaveStatus:
    """That a write was kept."""
    return SaveStatus(_("saved {UTC}").format(UTC=f"{local(datetime.now(UTC)):%H:%M}"))


def _emergency(each: Emergency, reviewed: Reviewed, known: Knowledge) -> EmergencyView:
    rule = known.warnings[each.raised.id]
    return EmergencyView(
        id=each.raised.id,
        label=rule.label,
        says=rule.says,
        because=_because(each.raised.because, known),
        pathway=reviewed.settings.pathways.get(each.raised.id, ""),
        is_acknowledged=each.is_acknowledged,
    )


def _because(reasons: tuple[Reason, ...], known: Knowledge) -> tuple[str, ...]:
    return tuple(
        f"{label}: {tail}" if tail else label for label, tail in by_finding(reasons, known)
    )


def _to_confirm(each: ToConfirm, known: Knowledge) -> ConfirmView:
    names = [cause_label(name, known) for name in each.holds_up]
    return ConfirmView(
        entry=each.held.entry_id,
        words=f"{capital(finding_words(*each.cell))}: {recorded_words(each.cell, each.held.value)}",
        by=f"{each.held.by}, {local(each.held.at):%H:%M}",
        holds_up=", ".join(dict.fromkeys(names)),
        is_confirmed=each.is_confirmed,
    )


def _code(each: Code, known: Knowledge, typed: Typed) -> CodeView:
    name = f"code.{each.code}"
    return CodeView(
        code=each.code,
        title=known.icd.title[each.code],
        because="; ".join(folded(by_finding(each.because, known))),
        # A form that was refused is shown as it was sent.
        is_chosen=name in typed.form if "codes" in typed.form else each.is_chosen,
        fault=typed.faults.get(name, ""),
    )


def _suggestion(
    each: Suggestion, reviewed: Reviewed, known: Knowledge, typed: Typed
) -> SuggestionView:
    name = each.step.id
    decision, reason = "", ""
    if each.decision is not None:
        decision = "taken" if each.decision.is_taken else "declined"
        reason = each.decision.reason
    because = [cause_label(cause, known) for cause in each.step.because]
    return SuggestionView(
        id=name,
        says=known.steps[name].says,
        urgency_words=urgency_words(each.step.urgency),
        because=", ".join(dict.fromkeys(because)),
        pathway=reviewed.settings.pathways.get(name, ""),
        must_be_decided=each.must_be_decided,
        decision=typed.form.get(f"step.{name}", decision),
        reason=Field(
            clean(typed.form.get(f"reason.{name}", reason)),
            typed.faults.get(f"reason.{name}", ""),
        ),
    )
