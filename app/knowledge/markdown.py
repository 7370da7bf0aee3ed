"""Write the knowledge out as documents for a reviewer: Markdown, the same bytes every time."""

from collections.abc import Iterable

from app.knowledge.course import DIRECTION_WORDS, NO_FIGURE
from app.knowledge.describe import (
    describe_category,
    describe_falls,
    describe_intended_use,
    describe_step,
    describe_warning,
)
from app.knowledge.describe_parts import (
    describe_figure,
    describe_medicine_class,
    describe_norm,
    describe_sign,
    describe_source,
    describe_threshold,
    sign_ids,
)
from app.knowledge.described import CategoryDescription, WarningDescription
from app.knowledge.linked import capital, lower
from app.knowledge.load import Knowledge
from app.knowledge.markdown_help import help_page
from app.knowledge.markdown_parts import (
    CHANGE,
    INDEX,
    NUMBERS,
    Writer,
    bullets,
    codes_told,
    sentence,
)
from app.knowledge.mentions import measure_label
from app.knowledge.terms import DISCLAIMER

_INDEX = """\
These pages are made from the files that the program runs on, so they say what it does."""
_HOW_TO_REVIEW = """\
Each page is about one pattern or one warning. It shows the rule as a list, and what the rule rests
on. Each source says how far it was checked: *read in the source*, *read in a secondary copy*, *from
memory, not yet checked against the source*, or *common practice, no source*. Below stand small
invented cases, each with the answer that the rule gives.

Ask of every page: Is the rule what the source says? Is something missing? Would the cases come out
like this in your clinic? Then write down what should change, and sign."""
_WORDS = """\
- **Yes, no, not known.** What nobody examined is not known. So is what could not be tested. Neither
  is ever read as normal.
- **Fits.** The requirement of the pattern is met. With a caution it *fits with cautions*.
- **Partly there.** A sign points to the pattern, but the requirement is not met.
- **Open.** A sign points to it, and what was not examined could still decide.
- **Nothing points that way.** Then the pattern is not shown.
- **Grades.** 0 none, 1 slight, 2 definite, 3 marked. A sign is there from grade 1.
- **Sides** are the patient's, RIGHT before LEFT."""
_POINTS_TO_IT = """\
Where the requirement is not met, or not known yet, one of these brings the pattern to the page: as
partly there, or as open."""
_ACCOUNTS = """\
Beside the signs that it needs, these findings are not listed as unexplained where the pattern is
listed:"""
_ORDER = """\
Which way is worse. A grade is worse the higher it is. The order of the words is common practice."""
_SIGNS = """\
A sign is put together from findings by a rule of its own. Patterns and warnings speak of signs by
these names. A finding that has a grade is there from grade 1."""
_MEDICINES = """\
Ingredients by their names, no trade names. A name that is on no list is shown as not recognised and
not checked. Members beyond the source named are common practice."""
_BESIDES = """\
- [How each sign is examined](help.md)
- [The falls group and its hazards](falls.md)
- [Signs](signs.md), which patterns and warnings speak of
- [What there is to consider](steps.md)
- [Medicines](medicines.md)
- [Norms and numbers](norms.md)
- [Sources](sources.md)
- [What the program is for, and what it is not](../intended-use.md)"""


def documents(knowledge: Knowledge) -> dict[str, str]:
    """Every document by its path below docs/."""
    write, deeper = Writer(knowledge), Writer(knowledge, "../")
    pages = {
        "intended-use.md": _intended_use(Writer(knowledge, "clinical/")),
        "clinical/README.md": _index(write),
        "clinical/help.md": help_page(write),
        "clinical/falls.md": _falls(write),
        "clinical/signs.md": _signs(write),
        "clinical/steps.md": _steps(write),
        "clinical/medicines.md": _medicines(write),
        "clinical/norms.md": _norms(write),
        "clinical/sources.md": _sources(write),
    }
    for category in knowledge.categories.values():
        page = _category(describe_category(category, knowledge), deeper)
        pages[f"clinical/categories/{category.id}.md"] = page
    for warning in knowledge.warnings.values():
        page = _warning(describe_warning(warning, knowledge), deeper)
        pages[f"clinical/warnings/{warning.id}.md"] = page
    return pages


def _index(write: Writer) -> str:
    knowledge = write.knowledge

    def table(group: str, things: Iterable[tuple[str, str, str, str]]) -> str:
        rows = [
            f"| [{label}]({group}/{thing}.md) | {says} | {status} |"
            for thing, label, says, status in things
        ]
        return "\n".join(["| | It says | State |", "|---|---|---|", *rows])

    return write.page(
        INDEX,
        f"Version {knowledge.version} of the knowledge, for the clinicians who review it. {_INDEX}",
        f"**{DISCLAIMER}**",
        "## How to review",
        _HOW_TO_REVIEW,
        "## Words",
        _WORDS,
        "## Patterns",
        table(
            "categories",
            ((c.id, c.label, c.says, c.status) for c in knowledge.categories.values()),
        ),
        "## Warnings",
        table("warnings", ((w.id, w.label, w.says, w.status) for w in knowledge.warnings.values())),
        "## And besides",
        _BESIDES,
    )


def _category(category: CategoryDescription, write: Writer) -> str:
    parts = [f"> {category.says}", write.state(category.status), "## When it fits"]
    parts.append(write.listed([category.rule]) if category.rule else category.sentence)
    if category.core:
        parts += [
            "## What points to it",
            _POINTS_TO_IT,
            write.listed(category.core),
        ]
    if category.cautions:
        parts += [
            "## What argues against the usual cause",
            "Each of these is a caution. With one of them the pattern *fits with cautions*.",
        ]
        for caution in category.cautions:
            parts += write.told(caution.says, caution.rule, caution.claims)
    parts += write.qualifiers(category.qualifiers)
    if category.steps:
        steps = (f"{write.link(each.step)}. {write.text(each.when)}." for each in category.steps)
        parts += bullets("## What there is to consider", steps)
    parts += bullets("## What looks alike", category.misleads)
    if category.explains:
        accounts = "; ".join(map(lower, category.explains))
        parts += [
            "## What it accounts for",
            f"{_ACCOUNTS} {accounts}.",
        ]
    parts += ["## What it rests on", write.claims(category.claims)]
    parts += write.used("Spoken of by:", category.used_by)
    parts += codes_told(category.codes)
    parts += write.cases(category.cases, category.no_cases)
    return write.reviewed_page(f"Pattern: {category.label}", *parts)


def _warning(warning: WarningDescription, write: Writer) -> str:
    parts = [f"> {warning.says}", write.state(warning.status), "## When it is raised"]
    always = warning.tiers[-1].rule is None
    together = "Together with:" if always else "Together with what makes it urgent, below."
    parts += ["These signs:" if warning.context or not always else "Wherever this is so:"]
    parts.append(write.listed([warning.signs]))
    if warning.context is not None:
        parts += [together, write.listed([warning.context])]
    elif not always:
        parts.append(together)
    parts.append("## How urgent it is")
    for place, tier in enumerate(warning.tiers):
        if tier.rule is not None:
            parts += write.told(capital(tier.urgency), tier.rule)
        else:
            says = ", in every other case" if place else ", always"
            parts.append(f"**{capital(tier.urgency)}**{says}.")
    if not always:
        parts.append("In every other case it is not raised.")
    parts += write.qualifiers(warning.qualifiers)
    parts += bullets("## What there is to consider", map(write.link, warning.steps))
    parts += ["## What it rests on", write.claims(warning.claims)]
    parts += write.used("Spoken of by:", warning.used_by)
    parts += write.cases(warning.cases, warning.no_cases)
    return write.reviewed_page(f"Warning: {warning.label}", *parts)


def _falls(write: Writer) -> str:
    falls = describe_falls(write.knowledge)
    parts = [
        f"> {falls.says}",
        falls.caveat,
        write.state(falls.status),
        "## How the group is found",
        "The first of these that is so gives the group.",
    ]
    for number, branch in enumerate(falls.branches, start=1):
        parts.append(f"**{number}. {branch.level}** ({branch.urgency}). {branch.says}")
        parts.append(write.listed([branch.rule]) if branch.rule else "- In every other case")
    steps = (f"{write.link(each.step)}. {write.text(each.when)}." for each in falls.steps)
    parts += bullets("## What there is to consider", steps)
    parts += ["## Hazards", "They stand beside the group and never lower it."]
    for hazard in falls.hazards:
        parts += write.told(hazard.label, hazard.rule, hazard.claims)
    parts += ["## What it rests on", write.claims(falls.claims), *write.cases(falls.cases)]
    return write.reviewed_page(falls.label, *parts)


def _signs(write: Writer) -> str:
    parts = [_SIGNS]
    for sign_id in sign_ids(write.knowledge):
        sign = describe_sign(sign_id, write.knowledge)
        parts += [f"## {sign.label}", sign.judged]
        if sign.rule:
            parts.append(write.listed([sign.rule]))
        for value in sign.values:
            parts += write.told(value.label, value.rule)
        parts += bullets("Counted are:", sign.counted)
        parts.append(write.rests_on(sign.claims))
        parts += write.used("Spoken of by:", sign.used_by)
    return write.reviewed_page("Signs", *parts)


def _steps(write: Writer) -> str:
    parts = ["Everything here is something to consider. Nothing is an order."]
    for step in write.knowledge.steps.values():
        told = describe_step(step, write.knowledge)
        parts += [f"## {told.says}", f"How soon: {told.urgency}. It follows from:"]
        parts += bullets("", (f"{write.text(each)}." for each in told.follows))
        parts.append(write.rests_on(told.claims))
    return write.reviewed_page("What there is to consider", *parts)


def _medicines(write: Writer) -> str:
    parts = [_MEDICINES]
    for medicine_class in write.knowledge.medicines.classes.values():
        told = describe_medicine_class(medicine_class, write.knowledge)
        names = [
            each.name + (f" (also {', '.join(each.spellings)})" if each.spellings else "")
            for each in told.ingredients
            if not each.is_weak
        ]
        weak = [each.name for each in told.ingredients if each.is_weak]
        source = f"{write.link(told.source)}, " if told.source else ""
        parts += [
            f"## {told.label}",
            f"{', '.join(names)}.",
            f"Weaker associations: {', '.join(weak)}." if weak else "",
            f"Rests on: {source}{told.standing}.",
            *write.used("Spoken of by:", told.used_by),
        ]
    return write.reviewed_page("Medicines", *parts)


def _norms(write: Writer) -> str:
    knowledge = write.knowledge
    parts = ["Outside the ages named there is no norm, and none is guessed."]
    for norm in knowledge.norms.values():
        told = describe_norm(norm, knowledge)
        bands = [f"| {ages} | {men} | {women} |" for ages, men, women in told.bands]
        head = [f"| Age | Men ({told.unit}) | Women ({told.unit}) |", "|---|---|---|"]
        parts += [
            f"## {told.label}",
            "\n".join([*head, *bands]),
            f"{sentence(told.note)} Rests on: {write.link(told.source)}, {told.standing}.",
            *write.used("Spoken of by:", told.used_by),
        ]
    rows = ["| Number | Compared | Rests on | Spoken of by |", "|---|---|---|---|"]
    for threshold in knowledge.thresholds.values():
        number = describe_threshold(threshold, knowledge)
        source = f"{write.link(number.source)}, {number.standing}." if number.source else ""
        rests = f"{source} {sentence(number.note)}".strip()
        used = "; ".join(map(write.link, number.used_by)) or "what is recorded being checked"
        rows.append(f"| {number.number} | {'; '.join(number.compared)} | {rests} | {used} |")
    parts += [f"## {NUMBERS}", "\n".join(rows)]
    parts += [f"## {CHANGE}", *_change(write)]
    return write.reviewed_page("Norms and numbers", *parts)


def _change(write: Writer) -> list[str]:
    course = write.knowledge.course
    rows = ["| Measured | Figure | It says | Measured in | Rests on |", "|---|---|---|---|---|"]
    for each in course.figure:
        told = describe_figure(each, write.knowledge)
        rests = f"{write.link(told.source)}, {told.standing}."
        rows.append(
            f"| {told.label} | {told.number} | {told.means} | {told.population} | {rests} |"
        )
    order = [
        f"{words}: {'; '.join(lower(measure_label(name)) for name in getattr(course, key))}."
        for key, words in DIRECTION_WORDS.items()
    ]
    return [NO_FIGURE, *(["\n".join(rows)] if course.figure else []), *bullets(_ORDER, order)]


def _sources(write: Writer) -> str:
    parts = ["Every published source that something rests on, and how far it was checked."]
    for source in write.knowledge.sources.values():
        told = describe_source(source, write.knowledge)
        parts += [
            f"## {told.label}",
            f"{told.citation.rstrip('.')}. *{sentence(told.standing)}*",
            *write.used("Named by:", told.used_by),
        ]
    return write.page("Sources", *parts)


def _intended_use(write: Writer) -> str:
    parts = [f"**{DISCLAIMER}**"]
    for section in describe_intended_use(write.knowledge):
        parts += [f"## {section.title}", *section.text, *bullets("", section.points)]
        parts.append(write.claims(section.claims))
    return write.page("Intended use", *parts)
