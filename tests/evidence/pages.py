"""The claims as pages."""

from collections import Counter
from typing import get_args

from tests.evidence.claims import Asvs, HazardLog, Risk, Status, asvs, hazard_log

NOTICE = "<!-- Made by script/docs from {file}. Change it there. -->"
ERRORS = {
    "perception": "something is not seen, or seen wrongly",
    "cognition": "something is seen and misjudged",
    "action": "the hand does something else than was meant",
    "none": "no mistake of a person is needed",
}


def evidence_pages() -> dict[str, str]:
    """Each page by its path below docs/."""
    return {"safety/README.md": hazards_page(hazard_log()), "security/asvs.md": asvs_page(asvs())}


def hazards_page(log: HazardLog) -> str:
    """The hazard log."""
    lines = [NOTICE.format(file="docs/safety/hazards.toml"), "", "# Safety: the hazard log", ""]
    lines += [INTRODUCTION, "", "## The scales", ""]
    for title, levels in (
        ("severity", log.severity),
        ("likelihood", log.likelihood),
        ("risk", log.risk),
    ):
        lines += [f"| {title} | | |", "|---|---|---|"]
        lines += [f"| {n} | {one.name} | {one.means} |" for n, one in enumerate(levels, start=1)]
        lines += [""]
    heads = [f"{n} {one.name}" for n, one in enumerate(log.likelihood, start=1)]
    lines += [f"| risk | {' | '.join(heads)} |", "|---" * 6 + "|"]
    for n, (one, row) in enumerate(zip(log.severity, log.matrix, strict=True), start=1):
        lines.append(f"| {n} {one.name} | {' | '.join(map(str, row))} |")
    lines += ["", "## All hazards", "", "| | hazard | before | after |", "|---|---|---|---|"]
    lines += [
        f"| {each.id} | {each.title} | {_risk(log, each.before)} | {_risk(log, each.after)} |"
        for each in log.hazards
    ]
    for each in log.hazards:
        lines += ["", f"## {each.id} {each.title}", ""]
        lines += [f"**Cause.** {each.cause}", "", f"**Harm.** {each.harm}", ""]
        lines += [f"**A person's part.** {ERRORS[each.error].capitalize()}.", ""]
        lines += [f"**Before.** {_risk(log, each.before)}. **After.** {_risk(log, each.after)}."]
        if each.accepted:
            lines += ["", f"**Why it stays.** {each.accepted}"]
        lines += ["", f"**What is left.** {each.left}", "", f"**The clinic.** {each.clinic}", ""]
        for number, control in enumerate(each.controls, start=1):
            lines.append(f"{number}. {control.says}")
            lines += [f"   - `{test}`" for test in control.tests]
    return "\n".join(lines) + "\n"


def asvs_page(table: Asvs) -> str:
    """The table of security requirements."""
    lines = [NOTICE.format(file="docs/security/asvs.toml"), "", "# Security: ASVS 5.0, level 2", ""]
    lines += [ASVS_INTRODUCTION, ""]
    counts = Counter(each.status for each in table.requirements)
    lines += ["| | requirements |", "|---|---|"]
    lines += [f"| {status} | {counts[status]} |" for status in get_args(Status)]
    lines += [f"| all | {len(table.requirements)} |"]
    for status, title in (("not met", "Not met"), ("partly", "Met in part")):
        lines += ["", f"## {title}", "", "| | L | asks | what is missing |", "|---|---|---|---|"]
        lines += [
            f"| {each.id} | {each.level} | {each.asks} | {each.where} |"
            for each in table.requirements
            if each.status == status
        ]
    for number, name in table.chapters.items():
        lines += ["", f"## V{number} {name}", ""]
        lines += ["| v5.0.0- | L | asks | | where, or why not | shown by |", "|---" * 6 + "|"]
        for each in table.requirements:
            if each.id.split(".")[0] == number:
                shown = "<br>".join(f"`{test}`" for test in each.tests)
                lines.append(
                    f"| {each.id} | {each.level} | {each.asks} | {each.status} | {each.where} "
                    f"| {shown} |"
                )
    return "\n".join(lines) + "\n"


def _risk(log: HazardLog, risk: Risk) -> str:
    found = log.risk_of(risk)
    severity = log.severity[risk.severity - 1].name
    likelihood = log.likelihood[risk.likelihood - 1].name
    return f"{found} {log.risk[found - 1].name} ({severity}, {likelihood})"


INTRODUCTION = """\
What can do harm, what the program does against it, and the tests that show it. Evenhand supports
and does not replace clinical judgement.

**State: draft.** Written by engineers; no clinician and no clinical safety officer has reviewed it.
The steps are judgements: nothing of them was measured in a clinic.

The shape (hazard, cause, harm, risk before and after, controls and their evidence, one part for the
maker and one for whoever deploys) follows common practice of clinical safety, such as ISO 14971 and
the pair DCB0129 and DCB0160; the matrix is that of the latter as we remember it. None of these
texts was at hand, nothing is quoted, and no compliance is claimed. The words of the scales are our
own.

**What is checked.** Each named test exists (`tests/evidence`). A run of the whole suite
(`script/test` without arguments) fails if one of them did not run, was skipped, or did not pass in
that very run, all its cases counted. A run of a part does not ask that. That a test shows what its
control says is read by people, and by no program.

The clinic's own part: [clinic-template.md](clinic-template.md)."""
ASVS_INTRODUCTION = """\
Every requirement of levels 1 and 2 of the OWASP Application Security Verification Standard 5.0.0,
in our own words; the numbers and levels were read in the standard's own table (its English CSV,
public repository OWASP/ASVS, commit 5cf9b032). Level 3 is left out. It is our own reading, made by
those who wrote the program: no verification by others, and no claim of conformance.

*met*: by the program, with the test that shows it where there is one; a row without a test says
where it can be read. *partly* and *not met* are listed first. *clinic*: for whoever deploys it to
do; we say what we give them. *does not apply*: there is no such thing here.

The named tests are checked as those of the hazard log are: [safety](../safety/README.md)."""
