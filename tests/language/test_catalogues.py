"""The catalogues hold everything, and the German says what the English says."""

import re
import runpy
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.language.words import speaking

ROOT = Path(__file__).parents[2]
LOCALE = ROOT / "app" / "language" / "locale" / "de" / "LC_MESSAGES"


@cache
def pairs() -> tuple[tuple[str, str], ...]:
    """Every English text of both catalogues with its German."""
    return tuple(
        pair
        for domain in ("messages", "knowledge")
        for message in _catalogue(domain)
        if message.id
        for pair in zip(_texts(message.id), _texts(message.string), strict=True)
    )


def _texts(held: object) -> tuple[str, ...]:
    return (
        (held,)
        if isinstance(held, str)
        else tuple(map(str, held if isinstance(held, tuple) else ()))
    )


def _catalogue(domain: str) -> Catalog:
    with (LOCALE / f"{domain}.po").open("rb") as file:
        return read_po(file, locale="de")


def test_nothing_is_missing_or_stale() -> None:
    """What script/words --check says, so that a run of tests alone finds it too."""
    script = runpy.run_path(str(ROOT / "script" / "write_words.py"))

    assert 0 == script["main"](["--check"])


def test_sides_stand_in_full_and_in_the_order_of_the_english() -> None:
    """Which has RIGHT before LEFT; RECHTS may be bent, as in „die RECHTE Hand“."""
    bent = {"RECHT": "RIGHT", "LINK": "LEFT"}
    for english, german in pairs():
        told = [bent[each] for each in re.findall(r"\b(RECHT|LINK)(?:S|E[MNRS]?)\b", german)]
        assert re.findall(r"\b(?:RIGHT|LEFT)\b", english) == told, german


def test_unknown_is_never_told_as_normal() -> None:
    """Where the English says nothing of normal, the German says nothing of it either."""
    unknown = re.compile(r"not (?:examined|known|recorded|asked|tested)|cannot be tested", re.I)
    normal = re.compile(r"normal|unauffällig|gesund|in ordnung|o\. ?B\.", re.I)
    for english, german in pairs():
        if unknown.search(english) and not re.search(r"normal", english, re.I):
            assert not normal.search(german), german


def test_everything_to_do_is_to_be_considered() -> None:
    """“Consider” is „… erwägen“, and nothing diagnoses."""
    with speaking("de"):
        says = [step.says for step in knowledge().steps.values()]
    assert says
    for each in says:
        assert each.endswith(" erwägen"), each
    for _english, german in pairs():
        assert not re.search(r"diagnosti(?:zier|k\b)", german), german


def test_it_supports_judgement_and_does_not_replace_it() -> None:
    """The sentence that stands on every page, whole."""
    english = next(each for each in dict(pairs()) if each.startswith("Evenhand supports"))

    assert (
        "Evenhand unterstützt die klinische Beurteilung und ersetzt sie nicht. Es stellt keine "
        "Diagnose. Örtliche Behandlungspfade und das Berufsrecht gehen vor."
    ) == dict(pairs())[english]


def test_findings_of_one_task_or_limb_begin_with_the_same_words() -> None:
    """The sheet groups them by what stands before the colon."""
    english = vocabulary()
    with speaking("de"):
        german = vocabulary()
    heads: dict[str, set[str]] = {}
    for finding in english.values():
        head, colon, _rest = finding.label.partition(": ")
        other, other_colon, _other_rest = german[finding.id].label.partition(": ")
        assert colon == other_colon, german[finding.id].label
        if finding.task or finding.limb:
            heads.setdefault(head, set()).add(other)
    assert all(len(each) == 1 for each in heads.values()), heads
    assert len(heads) == len(set.union(*heads.values()))


def test_the_drawings_of_the_help_are_drawn_alike_in_each_language() -> None:
    """One file for each: the same lines, other words beside them, and RIGHT and LEFT in full."""
    word = re.compile(r"(?<=>)[^<>\n]+(?=</text>)")
    english = (ROOT / "static" / "drawings.svg").read_text(encoding="utf-8")
    german = (ROOT / "static" / "drawings.de.svg").read_text(encoding="utf-8")
    lines = [
        re.sub(r"<!--.*?-->", "", word.sub("", each), flags=re.S) for each in (english, german)
    ]
    words = dict(zip(word.findall(english), word.findall(german), strict=True))

    assert lines[0] == lines[1]
    assert ("RECHTS", "LINKS") == (words["RIGHT"], words["LEFT"])
    assert {"normal"} == {each for each, said in words.items() if each == said}
