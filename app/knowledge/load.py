"""Load the knowledge, strictly: a fault stops the program, and names file, rule and key."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable

from app.exam.vocabulary import vocabulary
from app.knowledge.cases import check_cases
from app.knowledge.codes import HpoTerms, IcdCodes, load_hpo, load_icd
from app.knowledge.conditions import (
    Conditions,
    place_of_conflict,
    place_of_sign,
    place_of_suggested,
    places_of_category,
    places_of_falls,
    places_of_kind,
    places_of_step,
    places_of_warning,
)
from app.knowledge.course import FILE as COURSE_FILE
from app.knowledge.course import Course, Figure, check_course
from app.knowledge.files import BadKnowledge, Files, by_id, check, each_limb
from app.knowledge.help import HelpTexts, load_help
from app.knowledge.intended_use import IntendedUse
from app.knowledge.leaflet import FILE as LEAFLET_FILE
from app.knowledge.leaflet import Leaflet, load_leaflet
from app.knowledge.measured import MeasuredLine, check_measured, places_of_line
from app.knowledge.model import (
    Balance,
    Category,
    Completion,
    ConflictRule,
    Index,
    Kind,
    MedicineClass,
    Medicines,
    Norm,
    Sign,
    Source,
    Spellings,
    Step,
    Support,
    Threshold,
    WarningRule,
)
from app.knowledge.model_falls import FallRisk, HazardRule
from app.knowledge.names import Names
from app.knowledge.watches import Watch, check_watches
from app.language.words import ENGLISH, InEachLanguage, language, speaking
from app.logic.expression import Definition, Expression


@dataclass(frozen=True, eq=False)
class Knowledge:
    """Everything that the rules know, checked. Conditions are parsed once, by their sentence."""

    version: str
    sources: Mapping[str, Source]
    thresholds: Mapping[str, Threshold]
    norms: Mapping[str, Norm]
    signs: Mapping[str, Sign]
    kinds: Mapping[str, Kind]
    balances: Mapping[str, Balance]
    categories: Mapping[str, Category]
    warnings: Mapping[str, WarningRule]
    fall_risk: FallRisk
    steps: Mapping[str, Step]
    conflicts: tuple[ConflictRule, ...]
    measured: Mapping[str, MeasuredLine]
    course: Course
    watches: Mapping[str, Watch]
    medicines: Medicines
    intended_use: IntendedUse
    help: HelpTexts
    leaflet: Leaflet
    hpo: HpoTerms
    icd: IcdCodes
    names: Names
    definitions: Mapping[str, Definition]
    conditions: Mapping[str, Expression]
    completions: Mapping[str, Expression]

    @property
    def medicine_classes(self) -> Mapping[str, str]:
        """Each medicine class in words."""
        return {each.id: each.words for each in self.medicines.classes.values()}

    @property
    def hazards(self) -> Mapping[str, HazardRule]:
        """The hazards by id."""
        return {hazard.id: hazard for hazard in self.fall_risk.hazard}

    def exactly(self, name: str) -> Expression:
        """What holds where a named condition does in every completion of what is unknown."""
        return self.completions.get(name, self.definitions[name].expression)

    def requirement(self, category: Category) -> Expression:
        """A category's requirement."""
        return self.definitions[f"{category.id}_fits"].expression


@InEachLanguage
def knowledge() -> Knowledge:
    """The knowledge that ships with the program."""
    return load_knowledge(resources.files(__package__))


def in_english(held: Knowledge) -> Knowledge:
    """The same in English, for what other programs read."""
    if language() == ENGLISH:
        return held
    with speaking(ENGLISH):
        return knowledge()


def load_knowledge(folder: Traversable) -> Knowledge:
    """Load and check a folder of knowledge files.

    Raises: BadKnowledge.
    """
    files = Files(folder)
    index = files.one("index.toml", Index)
    signs_file = files.tables("signs.toml", {"sign", "kind", "balance"})
    names = Names(
        vocabulary=vocabulary(),
        signs=by_id("signs.toml", each_limb(signs_file["sign"]), Sign),
        kinds=by_id("signs.toml", each_limb(signs_file["kind"]), Kind),
        balances=by_id("signs.toml", signs_file["balance"], Balance),
        thresholds=files.keyed("thresholds.toml", "threshold", Threshold),
        norms=files.keyed("norms.toml", "norm", Norm),
        classes=files.keyed("medicines.toml", "class", MedicineClass),
    )
    _refuse_name_twice(names)
    categories = files.folder_of("categories", index.categories, Category)
    warnings = files.folder_of("warnings", index.warnings, WarningRule)
    steps = by_id("steps.toml", files.tables("steps.toml", {"step"})["step"], Step)
    conditions = Conditions(names, categories, warnings)
    read = Knowledge(
        version=index.version,
        sources=files.keyed("sources.toml", "source", Source),
        thresholds=names.thresholds,
        norms=names.norms,
        signs=names.signs,
        kinds=names.kinds,
        balances=names.balances,
        categories=categories,
        warnings=warnings,
        fall_risk=files.one("fall_risk.toml", FallRisk),
        steps=steps,
        conflicts=_conflicts(files),
        measured=files.keyed("measured.toml", "measured", MeasuredLine),
        course=files.one(COURSE_FILE, Course),
        watches=files.keyed("watches.toml", "watch", Watch),
        medicines=Medicines(names.classes, files.one("spellings.toml", Spellings).spellings),
        intended_use=files.one("intended_use.toml", IntendedUse),
        help=load_help(files, names.vocabulary),
        leaflet=load_leaflet(files, names.vocabulary, steps),
        hpo=load_hpo(files, names.vocabulary),
        icd=load_icd(files, categories),
        names=names,
        definitions=conditions.definitions,
        conditions=conditions.parsed,
        completions=conditions.completed(
            files.keyed("completions.toml", "completion", Completion).values()
        ),
    )
    _check_conditions(conditions, read)
    check_measured(read.measured, names, conditions.parsed)
    check_course(read.course)
    check_watches(read.watches, names.vocabulary)
    _check_names(read)
    _check_steps(read)
    _check_sources(read)
    check_cases(categories, warnings, read.fall_risk)
    return read


def _conflicts(files: Files) -> tuple[ConflictRule, ...]:
    tables = each_limb(files.tables("conflicts.toml", {"conflict"})["conflict"])
    return tuple(
        check("conflicts.toml", " and ".join(held.get("findings", ())), held, ConflictRule)
        for held in tables
    )


def _refuse_name_twice(names: Names) -> None:
    seen = set(names.vocabulary)
    for group in (names.signs, names.kinds, names.balances):
        for name in group:
            if name in seen:
                raise BadKnowledge(f"signs.toml: {name}: this name stands for something else")
            seen.add(name)


def _check_conditions(conditions: Conditions, read: Knowledge) -> None:
    for sign in read.signs.values():
        conditions.check([place_of_sign(sign)], sided=sign.sides == "pair")
    for kind in read.kinds.values():
        conditions.check(places_of_kind(kind), sided=True)
    for category in read.categories.values():
        conditions.check(places_of_category(category))
        conditions.check_explained(category)
    for warning in read.warnings.values():
        conditions.check(places_of_warning(warning))
    conditions.check(places_of_falls(read.fall_risk))
    for step in read.steps.values():
        conditions.check(places_of_step(step))
    for line in read.measured.values():
        conditions.check(places_of_line(line))
    for code in read.icd.suggested:
        conditions.check([place_of_suggested(code)], sided=code.side is not None)
    for rule in read.conflicts:
        conditions.check([place_of_conflict(rule)], sided=rule.paired)


def _check_names(read: Knowledge) -> None:
    """Check the names that stand in lists, and not in a condition."""
    for file, rule, key, names in (
        *(("signs.toml", each.id, "findings", each.findings) for each in read.balances.values()),
        *(("conflicts.toml", each.says, "findings", each.findings) for each in read.conflicts),
        ("fall_risk.toml", "fall_risk", "shows", read.fall_risk.shows),
    ):
        for name in names:
            if name not in vocabulary():
                raise BadKnowledge(f"{file}: {rule}: {key}: {name} is not a finding")
    for balance in read.balances.values():
        for finding, sign in balance.counted_where.items():
            if finding not in vocabulary() or sign not in read.signs:
                place = f"signs.toml: {balance.id}: counted_where"
                raise BadKnowledge(f"{place}: {finding} = {sign}: expected a finding = a sign")
    causes = {*read.categories, *read.warnings, *vocabulary()}
    for step in read.steps.values():
        for cause in (cause for follows in step.follows for cause in follows.because):
            if cause not in causes:
                place = f"steps.toml: {step.id}: because"
                raise BadKnowledge(f"{place}: {cause} is not a category, warning or finding")
    if read.fall_risk.branch[-1].when is not None:
        raise BadKnowledge("fall_risk.toml: branch: the last one must hold always, without when")


def _check_steps(read: Knowledge) -> None:
    named = [
        *(
            (f"categories/{c.id}.toml", step.id)
            for c in read.categories.values()
            for step in c.step
        ),
        *((f"warnings/{w.id}.toml", step) for w in read.warnings.values() for step in w.steps),
        *(("fall_risk.toml", step.id) for step in read.fall_risk.step),
    ]
    for file, step_id in named:
        if step_id not in read.steps:
            raise BadKnowledge(f"{file}: step {step_id}: is not in steps.toml")
    for category in read.categories.values():
        for step in category.step:
            if step.qualifier and step.qualifier not in category.qualifiers:
                problem = f"step {step.id}: there is no qualifier {step.qualifier}"
                raise BadKnowledge(f"categories/{category.id}.toml: {problem}")


def _check_sources(read: Knowledge) -> None:
    for file, rule, source in _cited(read):
        if source is not None and source not in read.sources:
            raise BadKnowledge(f"{file}: {rule}: source {source}: is not in sources.toml")


def _cited(read: Knowledge) -> Iterator[tuple[str, str, str | None]]:
    """Every place that names a source: file, rule, source."""

    def of(
        file: str, rule: str, support: Iterable[Support]
    ) -> Iterator[tuple[str, str, str | None]]:
        return ((file, rule, each.source) for each in support)

    derived: tuple[Sign | Kind | Balance, ...] = (
        *read.signs.values(),
        *read.kinds.values(),
        *read.balances.values(),
    )
    for sign in derived:
        yield from of("signs.toml", sign.id, sign.support)
    for category in read.categories.values():
        file = f"categories/{category.id}.toml"
        yield from of(file, category.id, category.support)
        for caution in category.caution:
            yield from of(file, category.id, caution.support)
    for warning in read.warnings.values():
        yield from of(f"warnings/{warning.id}.toml", warning.id, warning.support)
    yield from of("fall_risk.toml", "fall_risk", read.fall_risk.support)
    for section in read.intended_use.section:
        yield from of("intended_use.toml", section.title, section.support)
    for file, help_id, claim in read.help.cited:
        yield file, help_id, claim.source
    for said in (*read.leaflet.safe, *read.leaflet.now, *read.leaflet.soon):
        yield LEAFLET_FILE, said.says, said.source
    for hazard in read.hazards.values():
        yield from of("fall_risk.toml", hazard.id, hazard.support)
    for step in read.steps.values():
        yield from of("steps.toml", step.id, step.support)
    figures: tuple[tuple[str, Iterable[Threshold | Norm | Figure | Watch | MedicineClass]], ...] = (
        ("thresholds.toml", read.thresholds.values()),
        ("norms.toml", read.norms.values()),
        (COURSE_FILE, read.course.figure),
        ("watches.toml", read.watches.values()),
        ("medicines.toml", read.medicines.classes.values()),
    )
    for file, each_of in figures:
        for each in each_of:
            yield file, each.id, each.source
