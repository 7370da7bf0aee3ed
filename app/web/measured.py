"""What measured values give, as the sheet shows it below their rows."""

from collections.abc import Mapping

from app.assess.assess import world_of
from app.assess.measured import measured
from app.exam.record import Exam
from app.knowledge.load import knowledge
from app.web.sheet_view import MeasuredView


def measured_views(exam: Exam) -> Mapping[str, MeasuredView]:
    """By finding, for each that may have lines below it."""
    return {
        finding: MeasuredView(f"m-{finding}", tuple((said.says, said.basis) for said in lines))
        for finding, lines in measured(world_of(exam, knowledge())).items()
    }
