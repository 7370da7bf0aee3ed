"""Levels, urgencies, the falls group and hazards of every row, as the columns of one query."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from sqlalchemy import Dialect, case, not_
from sqlalchemy.dialects import postgresql, sqlite

from app.assess.results import NOT_RAISED
from app.knowledge.load import Knowledge
from app.knowledge.model import Category, WarningRule
from app.knowledge.names import tier_name
from app.logic.query import Stages, Term, conjunction, disjunction, surely
from app.store.registry.exactly import LEFT_TO_THE_PROGRAM, TRIED, unlike_completions, values_of
from app.store.registry.world import RegistryWorld, as_literal

FALL_RISK = "fall_risk"
UNDECIDED = "undecided"
# By the name of an engine: how its SQL is written, and whether its planner needs a fence.
DIALECTS: dict[str, tuple[Dialect, bool]] = {
    "sqlite": (sqlite.dialect(), True),
    "postgresql": (postgresql.dialect(), True),
    "duckdb": (postgresql.dialect(), False),
    "spark": (postgresql.dialect(), False),
}


@dataclass(frozen=True)
class Exact:
    """A condition decided as the program does.

    yes: never NULL. no: that it is known not to hold. undecided: the program has to be asked.
    """

    yes: Term
    unknown: Term
    undecided: Term | None = None


@lru_cache(maxsize=16)
def results_sql(knowledge: Knowledge, engine: str, source: str, keys: tuple[str, ...]) -> str:
    """The query over a table of rows (app/store/registry/rows.py), in the SQL of an engine.

    Columns beside the keys: each category by its id with its level, each warning with its urgency
    or not_raised, fall_risk with its level, each hazard with whether it holds; NULL in `undecided`
    columns and rows only.
    """
    dialect, fenced = DIALECTS[engine]
    stages = Stages()
    wanted = _Results(knowledge, stages).wanted()
    query = stages.query(source, keys, wanted, fenced=fenced)
    return str(query.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))


def hazard_column(hazard: str) -> str:
    """The column that says whether a hazard holds; a category may have the same id."""
    return f"hazard_{hazard}"


class _Results:
    def __init__(self, knowledge: Knowledge, stages: Stages) -> None:
        self.knowledge = knowledge
        self.stages = stages
        self.world = RegistryWorld(knowledge, stages)
        self.undecided: list[Term] = []

    def wanted(self) -> dict[str, Term]:
        """Every column of the result."""
        known = self.knowledge
        found = {each.id: self._level(each) for each in known.categories.values()}
        found |= {each.id: self._urgency(each) for each in known.warnings.values()}
        found[FALL_RISK] = self._fall_level()
        found |= {
            hazard_column(each.id): surely(self.world.holds(each.when))
            for each in known.hazards.values()
        }
        found[UNDECIDED] = disjunction(*self.undecided)
        return found

    def _level(self, category: Category) -> Term:
        requirement = self._exactly(f"{category.id}_fits")
        cautioned = self._exactly(f"{category.id}_cautioned")
        core = self.stages.keep(
            f"{category.id}_core",
            surely(disjunction(*(self.world.holds(sentence) for sentence in category.core))),
        )
        fits: list[tuple[Term, str | None]] = [(cautioned.yes, "fits_with_cautions")]
        if cautioned.undecided is not None:
            self._ask_the_program(conjunction(requirement.yes, cautioned.undecided))
            fits.append((cautioned.undecided, None))
        return _chosen(
            (
                *((conjunction(requirement.yes, when), level) for when, level in fits),
                (requirement.yes, "fits"),
                (_not(core), "not_supported"),
                (requirement.unknown, "open"),
            ),
            "partial",
        )

    def _urgency(self, warning: WarningRule) -> Term:
        tiers: list[tuple[Term, str | None]] = []
        for tier in warning.tier:
            exact = self._exactly(tier_name(warning.id, tier.urgency))
            tiers.append((exact.yes, tier.urgency))
            if exact.undecided is not None:
                self._ask_the_program(exact.undecided)
                tiers.append((exact.undecided, None))
        return _chosen(tiers, NOT_RAISED)

    def _fall_level(self) -> Term:
        *branches, last = self.knowledge.fall_risk.branch
        cases: list[tuple[Term, str | None]] = [
            (surely(self.world.holds(each.when)), each.level)
            for each in branches
            if each.when is not None
        ]
        return _chosen(cases, last.level)

    def _exactly(self, name: str) -> Exact:
        plain = self.world.named(name)
        unknown = Term(plain.sql.is_(None), plain.stage)
        if name in TRIED:
            alike = [
                conjunction(
                    *(
                        RegistryWorld(self.knowledge, self.stages, {each: value}).named(name)
                        for value in values_of(each[0])
                    )
                )
                for each in TRIED[name]
            ]
            return Exact(self._kept(name, surely(disjunction(*alike))), unknown)
        if name in LEFT_TO_THE_PROGRAM:
            filled = [
                surely(RegistryWorld(self.knowledge, self.stages, each).named(name))
                for each in unlike_completions(self.knowledge, name)
            ]
            return Exact(
                self._kept(name, surely(plain)),
                unknown,
                self.stages.keep(f"{name}_undecided", conjunction(unknown, *filled)),
            )
        return Exact(surely(plain), unknown)

    def _kept(self, name: str, term: Term) -> Term:
        return self.stages.keep(f"{name}_exactly", term)

    def _ask_the_program(self, term: Term) -> None:
        self.undecided.append(term)


def _not(term: Term) -> Term:
    return Term(not_(term.sql), term.stage)


def _chosen(cases: Iterable[tuple[Term, str | None]], otherwise: str) -> Term:
    """The text of the first case that holds; NULL where it is the program that decides."""
    listed = list(cases)
    whens = [(term.sql, None if text is None else as_literal(text)) for term, text in listed]
    stage = max(term.stage for term, _ in listed)
    return Term(case(*whens, else_=as_literal(otherwise)), stage)
