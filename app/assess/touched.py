"""What a rule reads of an exam: an entry elsewhere cannot touch what it gives."""

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from app.assess.world import ExamWorld
from app.exam.measures import QUANTITIES
from app.exam.record import Cell
from app.exam.vocabulary import vocabulary
from app.knowledge.conditions import places_of_category, places_of_warning
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE, tier_name
from app.logic.expression import Atom, Expression, Reference, walk


@dataclass(frozen=True)
class Touched:
    """What something reads: cells, and whether it reads the age or sex, or the medicines."""

    cells: tuple[Cell, ...]
    patient: bool
    medicines: bool

    def recorded(self, world: ExamWorld) -> Hashable:
        """What is recorded there. Exams that agree in it agree in whatever is judged by it."""
        exam = world.exam
        return (
            tuple(map(exam.cells.get, self.cells)),
            exam.patient if self.patient else None,
            exam.medicines if self.medicines else None,
        )


@lru_cache(maxsize=256)
def touched_by(knowledge: Knowledge, rule: str) -> Touched:
    """What a category or a warning reads, from its requirement to the last of its qualifiers."""
    if rule in knowledge.categories:
        places = places_of_category(knowledge.categories[rule])
        names = [f"{rule}_fits", f"{rule}_cautioned"]
    else:
        places = places_of_warning(knowledge.warnings[rule])
        names = [tier_name(rule, tier.urgency) for tier in knowledge.warnings[rule].tier]
    sentences = [sentence for _, _, _, sentence in places if sentence]
    conditions: list[Expression] = [knowledge.conditions[each] for each in sentences]
    atoms = list(_atoms(knowledge, [*conditions, *map(Reference, names)]))
    findings = {finding for atom in atoms for finding in _findings(knowledge, atom)}
    # Whether a detail is worth asking for goes by what it describes.
    findings |= {whole for each in findings if (whole := vocabulary()[each].detail_of)}
    ordered = sorted(findings, key=vocabulary().place)
    return Touched(
        cells=tuple((name, side) for name in ordered for side in vocabulary()[name].sides),
        patient=any(_reads_patient(knowledge, atom) for atom in atoms),
        medicines=any(atom.relation == "takes" for atom in atoms),
    )


def _atoms(knowledge: Knowledge, conditions: Iterable[Expression]) -> Iterator[Atom]:
    waiting, seen = list(conditions), set[str]()
    while waiting:
        for part in walk(waiting.pop()):
            names: Iterable[str] = ()
            if isinstance(part, Reference):
                names = (part.name,)
            elif isinstance(part, Atom):
                yield part
                if part.name in knowledge.balances:
                    names = knowledge.balances[part.name].counted_where.values()
            for name in set(names) - seen:
                seen.add(name)
                waiting.append(knowledge.definitions[name].expression)


def _findings(knowledge: Knowledge, atom: Atom) -> Iterable[str]:
    if atom.name in QUANTITIES:
        return QUANTITIES[atom.name].inputs
    if atom.name in knowledge.balances:
        balance = knowledge.balances[atom.name]
        details = (vocabulary().details_of(each) for each in balance.counted_where)
        return (
            *balance.findings,
            *balance.counted_where,
            *(detail.id for each in details for detail in each),
        )
    return (atom.name,) if atom.name in vocabulary() else ()


def _reads_patient(knowledge: Knowledge, atom: Atom) -> bool:
    return atom.name == AGE or any(operand in knowledge.norms for operand in atom.operands)
