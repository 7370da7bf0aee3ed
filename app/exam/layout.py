"""In what order, and in which groups, the sheet asks for the findings: on screen and on paper."""

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

from app.exam.vocabulary import Finding, vocabulary
from app.language.words import N_, _

# The order in which the exam is done. A nurse may do their part before the physician comes.
WHOLE = ("history", "rest", "posture", "reach", "repeat", "tone", "gait", "measures", "more")
NURSE = ("history", "gait", "measures")
# The findings for when the picture asks for it, in the groups in which one looks for them.
MORE_GROUPS = MappingProxyType(
    {
        N_("Balance"): ("pull_test", "romberg", "standing_leg_tremor", "knee_buckling"),
        N_("Eyes, speech and writing"): (
            "vertical_gaze", "nystagmus", "speech_quiet", "speech_slurred", "voice_tremor",
            "handwriting",
        ),
        N_("Reflexes"): (
            "reflexes_brisk_arm", "reflexes_brisk_leg", "hoffmann", "plantar", "clonus",
            "reflexes_absent",
        ),
        N_("Strength, sensation and skill"): (
            "weak_arm", "weak_leg", "vibration_reduced", "apraxia",
        ),
        N_("How the tremor or posture behaves"): (
            "tremor_task_specific", "tremor_null_point", "sensory_trick", "tremor_entrains",
            "tremor_distractible", "movement_inconsistent",
        ),
    }
)  # fmt: skip
# What was not asked or measured is never normal.
_NONE_TO_MARK = ("history", "measures", "more")


@dataclass(frozen=True)
class Group:
    """Findings of a station that belong together, without those that describe another.

    id: among the groups of the station. title: the task or the limb, or "". is_folded: it opens on
    request; none of it is of the quick pass.
    """

    id: str
    title: str
    findings: tuple[Finding, ...]
    is_folded: bool

    def label_of(self, finding: Finding) -> str:
        """The words of a finding below the title, which says the task or the limb already."""
        if self.title and finding.label.startswith(f"{self.title}: "):
            return (
                finding.label.removeprefix(f"{self.title}: ")[:1].upper()
                + finding.label.removeprefix(f"{self.title}: ")[1:]
            )
        return finding.label


def has_rest_normal(station: str) -> bool:
    """Whether the rest of a station can be marked normal in one step."""
    return station not in _NONE_TO_MARK


def groups_at(station: str) -> tuple[Group, ...]:
    """The groups of one station, in order."""
    words = vocabulary()
    top = [finding for finding in words.at(station) if finding.detail_of is None]
    if station == "more":
        return tuple(
            Group(str(place), _(title), tuple(words[name] for name in names), is_folded=True)
            for place, (title, names) in enumerate(MORE_GROUPS.items())
        )
    if not any(finding.core for finding in top):
        return (Group("0", "", tuple(top), is_folded=False),)
    return _by_task_or_limb(top)


def _by_task_or_limb(findings: Iterable[Finding]) -> tuple[Group, ...]:
    """The quick pass, by task or limb where the station has them, and the rest folded."""
    blocks: dict[str, list[Finding]] = {}
    rest: list[Finding] = []
    for finding in findings:
        title = finding.label.partition(": ")[0] if finding.task or finding.limb else ""
        if finding.core or (finding.task and finding.station == "repeat"):
            blocks.setdefault(title, []).append(finding)
        else:
            rest.append(finding)
    groups = [
        Group(
            str(place),
            title,
            tuple(block),
            is_folded=not any(finding.core for finding in block),
        )
        for place, (title, block) in enumerate(blocks.items())
    ]
    if rest:
        groups.append(Group("rest", _("More of this station"), tuple(rest), is_folded=True))
    return tuple(groups)
