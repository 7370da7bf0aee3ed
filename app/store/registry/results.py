"""Levels, urgencies, the falls group and hazards of every row, as the columns of one query."""

from collections.abc import Sequence
from functools import lru_cache

from sqlalchemy import Dialect, case
from sqlalchemy.dialects import postgresql, sqlite

from app.assess.results import NOT_RAISED
from app.knowledge.load import Knowledge
from app.knowledge.model import Category, WarningRule
from app.knowledge.names import tier_name
from app.logic.query import Stages, Term, conjunction, disjunction, negation, surely
from app.store.registry.world import RegistryWorld, as_literal

FALL_RISK = "fall_risk"
# By the name of an engine: how its SQL is written, and whether its planner needs a fence.
DIALECTS: dict[str, tuple[Dialect, bool]] = {
    "sqlite": (sqlite.dialect(), True),
    "postgresql": (postgresql.dialect(), True),
    "duckdb": (postgresql.dialect(), False),
    "spark": (postgresql.dialect(), False),
}


@lru_cache(maxsize=16)
def results_sql(knowledge: Knowledge, engine: str, source: str, keys: tuple[str, ...]) -> str:
    """The query over a table of rows (app/store/registry/rows.py), in the SQL of an engine.

    Columns beside the keys: each category by its id with its level, each warning with its urgency
    or not_raised, fall_risk with its level, each hazard with whether it holds. None is ever NULL.
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
        return found

    def _level(self, category: Category) -> Term:
        requirement = self.world.named(f"{category.id}_fits")
        cautioned = self._exactly(f"{category.id}_cautioned")
        core = surely(disjunction(*(self.world.holds(sentence) for sentence in category.core)))
        return _chosen(
            (
                (conjunction(requirement, cautioned), "fits_with_cautions"),
                (requirement, "fits"),
                (negation(core), "not_supported"),
                (negation(requirement), "partial"),
            ),
            "open",
        )

    def _urgency(self, warning: WarningRule) -> Term:
        return _chosen(
            [
                (self._exactly(tier_name(warning.id, tier.urgency)), tier.urgency)
                for tier in warning.tier
            ],
            NOT_RAISED,
        )

    def _fall_level(self) -> Term:
        *branches, last = self.knowledge.fall_risk.branch
        return _chosen(
            [
                (self.world.holds(each.when), each.level)
                for each in branches
                if each.when is not None
            ],
            last.level,
        )

    def _exactly(self, name: str) -> Term:
        """Where a condition holds in every completion; what does not may be NULL as well."""
        return self.world.query.truth(self.knowledge.exactly(name))


def _chosen(cases: Sequence[tuple[Term, str]], otherwise: str) -> Term:
    """The text of the first case that holds; one that is NULL does not."""
    whens = [(term.sql, as_literal(text)) for term, text in cases]
    stage = max(term.stage for term, _ in cases)
    return Term(case(*whens, else_=as_literal(otherwise)), stage)
