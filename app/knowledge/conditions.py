"""Parse and check every condition of the knowledge, and give names to those that have one."""

from collections.abc import Iterable, Iterator, Mapping

from app.exam.vocabulary import vocabulary
from app.knowledge.codes import ICD_FILE, SuggestedCode
from app.knowledge.files import BadKnowledge
from app.knowledge.model import Category, Completion, ConflictRule, Kind, Sign, Step, WarningRule
from app.knowledge.model_falls import FallRisk
from app.knowledge.names import BadName, Names, every_core_normal, kind_value, tier_name
from app.logic.expression import And, Definition, Expression, Or, Reference, walk
from app.logic.parse import BadExpression, parse

# A condition with where it stands, for messages: file, rule, key, sentence (None where left out).
Place = tuple[str, str, str, str | None]
_OF_A_CATEGORY = ("fits", "listed", "cautioned", "cautioned_by_signs")


class Conditions:
    """Every condition by its sentence, and every named one by its name.

    Beside signs and kinds, each category gives four names: `…_fits` (its requirement, whatever the
    cautions), `…_listed`, `…_cautioned` and `…_cautioned_by_signs` (a caution that is no medicine);
    each warning gives `…_raised`, and one name a tier.
    """

    def __init__(
        self,
        names: Names,
        categories: Mapping[str, Category],
        warnings: Mapping[str, WarningRule],
    ) -> None:
        self.names = names
        self.parsed: dict[str, Expression] = {}
        self.definitions: dict[str, Definition] = {}
        self._places: dict[str, tuple[str, str, str]] = {}
        self._of_rules = frozenset(f"{c}_{what}" for c in categories for what in _OF_A_CATEGORY)
        self._of_rules |= {f"{warning}_raised" for warning in warnings}
        for sign in names.signs.values():
            self._define_sign(sign)
        for kind in names.kinds.values():
            self._define_kind(kind)
        for category in categories.values():
            self._define_category(category)
        for warning in warnings.values():
            self._define_warning(warning)
        self._refuse_circles()

    def check(self, places: Iterable[Place], *, sided: bool = False) -> None:
        """Read every condition and check that what is judged on a side has one.

        Raises: BadKnowledge.
        """
        for file, rule, key, sentence in places:
            if sentence is not None:
                read = self._read(sentence, file, rule, key)
                self._check_sides(read, file, rule, key, sided=sided)

    def completed(self, completions: Iterable[Completion]) -> dict[str, Expression]:
        """Conditions with the further ways in which they hold, by their names.

        Raises: BadKnowledge.
        """
        found: dict[str, Expression] = {}
        for each in completions:
            if each.id not in self.definitions:
                raise BadKnowledge(f"completions.toml: {each.id} is not the name of a condition")
            place = ("completions.toml", each.id, "when")
            self.check([(*place, sentence) for sentence in each.when])
            ways = [self._read(sentence, *place) for sentence in each.when]
            found[each.id] = Or((self.definitions[each.id].expression, *ways))
        return found

    def check_explained(self, category: Category) -> None:
        """An `explains` entry is one finding, or one value of it, on whichever side."""
        for sentence in category.explains:
            if sentence not in vocabulary():
                self._read(sentence, _file(category), category.id, "explains")

    def _define_sign(self, sign: Sign) -> None:
        place = ("signs.toml", sign.id, "when")
        self._define(sign.id, self._read(sign.when, *place), place, paired=sign.sides == "pair")

    def _define_kind(self, kind: Kind) -> None:
        for value in kind.values:
            place = ("signs.toml", kind.id, value.id)
            name = kind_value(kind.id, value.id)
            self._define(name, self._read(value.when, *place), place, paired=True)

    def _define_category(self, category: Category) -> None:
        file, name = _file(category), category.id
        if category.built_from_vocabulary == bool(category.requires):
            raise BadKnowledge(f"{file}: requires: give it, or built_from_vocabulary, not both")
        if category.built_from_vocabulary:
            requirement = every_core_normal(vocabulary())
        else:
            requirement = self._read(category.requires, file, name, "requires")
        core = [self._read(sentence, file, name, "core") for sentence in category.core]
        cautions = [
            (self._read(each.when, file, name, "caution"), each.medicine)
            for each in category.caution
        ]
        of_signs = tuple(each for each, medicine in cautions if not medicine)
        named = {
            "fits": ("requires", requirement),
            "listed": ("core", Or((Reference(f"{name}_fits"), *core))),
            "cautioned": ("caution", Or(tuple(each for each, _ in cautions))),
            "cautioned_by_signs": ("caution", Or(of_signs)),
        }
        for what, (key, expression) in named.items():
            self._define(f"{name}_{what}", expression, (file, name, key), paired=False)

    def _define_warning(self, warning: WarningRule) -> None:
        file, name = f"warnings/{warning.id}.toml", warning.id
        always = [self._read(warning.signs, file, name, "signs")]
        if warning.context is not None:
            always.append(self._read(warning.context, file, name, "context"))
        tiers = []
        for tier in warning.tier:
            key = f"tier {tier.urgency}"
            own = [self._read(tier.when, file, name, key)] if tier.when is not None else []
            tiers.append(tier_name(name, tier.urgency))
            self._define(tiers[-1], And((*always, *own)), (file, name, key), paired=False)
        raised = Or(tuple(Reference(each) for each in tiers))
        self._define(f"{name}_raised", raised, (file, name, "tier"), paired=False)

    def _define(
        self, name: str, expression: Expression, place: tuple[str, str, str], *, paired: bool
    ) -> None:
        if name in self.definitions:
            raise BadKnowledge(f"{': '.join(place)}: the name {name} stands twice")
        self.definitions[name] = Definition(expression, paired)
        self._places[name] = place

    def _read(self, sentence: str, file: str, rule: str, key: str) -> Expression:
        if sentence not in self.parsed:
            try:
                resolved = self.names.resolve(parse(sentence), self._of_rules)
            except (BadExpression, BadName) as error:
                raise BadKnowledge(f"{file}: {rule}: {key}: {error}") from None
            self.parsed[sentence] = resolved
        return self.parsed[sentence]

    def _check_sides(
        self, expression: Expression, file: str, rule: str, key: str, *, sided: bool
    ) -> None:
        try:
            self.names.check_sides(expression, self.definitions, sided=sided)
        except BadName as error:
            raise BadKnowledge(f"{file}: {rule}: {key}: {error}") from None

    def _refuse_circles(self) -> None:
        done: set[str] = set()

        def visit(name: str, path: tuple[str, ...]) -> None:
            if name in path:
                circle = " needs ".join((*path[path.index(name) :], name))
                file, rule, key = self._places[name]
                raise BadKnowledge(f"{file}: {rule}: {key}: defined by itself: {circle}")
            if name not in done:
                for part in walk(self.definitions[name].expression):
                    if isinstance(part, Reference):
                        visit(part.name, (*path, name))
                done.add(name)

        for name in self.definitions:
            visit(name, ())


def place_of_sign(sign: Sign) -> Place:
    """Where the condition of a sign stands."""
    return "signs.toml", sign.id, "when", sign.when


def places_of_kind(kind: Kind) -> Iterator[Place]:
    """Where the conditions of a kind's values stand."""
    for value in kind.values:
        yield "signs.toml", kind.id, value.id, value.when


def places_of_category(category: Category) -> Iterator[Place]:
    """Where conditions stand in a category."""
    file, name = _file(category), category.id
    yield file, name, "requires", category.requires or None
    for sentence in category.core:
        yield file, name, "core", sentence
    for caution in category.caution:
        yield file, name, "caution", caution.when
    for qualifier in category.qualifier:
        yield file, name, f"qualifier {qualifier.id}", qualifier.when
    for step in category.step:
        yield file, name, f"step {step.id}", step.when


def places_of_warning(warning: WarningRule) -> Iterator[Place]:
    """Where conditions stand in a warning."""
    file, name = f"warnings/{warning.id}.toml", warning.id
    yield file, name, "signs", warning.signs
    yield file, name, "context", warning.context
    for tier in warning.tier:
        yield file, name, f"tier {tier.urgency}", tier.when
    for qualifier in warning.qualifier:
        yield file, name, f"qualifier {qualifier.id}", qualifier.when


def places_of_falls(rule: FallRisk) -> Iterator[Place]:
    """Where conditions stand in the falls group and its hazards."""
    file, name = "fall_risk.toml", rule.id
    for branch in rule.branch:
        yield file, name, f"branch {branch.level}", branch.when
        yield file, name, f"branch {branch.level} asks", branch.asks
    for step in rule.step:
        yield file, name, f"step {step.id}", step.when
    for hazard in rule.hazard:
        yield file, hazard.id, "when", hazard.when


def places_of_step(step: Step) -> Iterator[Place]:
    """Where conditions stand in a step."""
    for follows in step.follows:
        yield "steps.toml", step.id, "follows", follows.when


def place_of_conflict(rule: ConflictRule) -> Place:
    """Where the condition of a conflict stands."""
    return "conflicts.toml", " and ".join(rule.findings), "when", rule.when


def place_of_suggested(each: SuggestedCode) -> Place:
    """Where the condition of a suggested code stands."""
    return ICD_FILE, each.code, "when", each.when


def _file(category: Category) -> str:
    return f"categories/{category.id}.toml"
