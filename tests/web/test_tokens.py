"""The values that everything on screen is made of: contrast in every theme, and nothing beside."""

import re
from pathlib import Path

import pytest

from app.settings import ROOT

STATIC = ROOT / "static"
TOKENS = STATIC / "tokens.css"
# The tokens are the one place for colours; the PDFs are black on white and made without them.
PRINTED = ("report.css", "paper.css", "leaflet.css")
STYLES = sorted({*STATIC.glob("*.css")} - {TOKENS, *(STATIC / name for name in PRINTED)})
SCRIPTS = sorted(STATIC.glob("*.js"))
DRAWINGS = sorted(STATIC.glob("*.svg"))
DARK, MORE = "(prefers-color-scheme: dark)", "(prefers-contrast: more)"
THEMES = ((), (DARK,), (MORE,), (DARK, MORE))
# Ground, text on it, and the contrast that WCAG 2.2 asks for: 4.5 for text (1.4.3), 3 for the
# edge of a control and the mark of the focus (1.4.11).
PAIRS = (
    ("paper", "ink", 4.5), ("sheet", "ink", 4.5), ("paper", "soft", 4.5), ("sheet", "soft", 4.5),
    ("wash", "ink", 4.5), ("accent", "on-accent", 4.5), ("sheet", "accent", 4.5),
    ("paper", "accent", 4.5), ("wash", "accent", 4.5), ("alarm", "on-alarm", 4.5),
    ("alarm-wash", "alarm", 4.5), ("alarm-wash", "ink", 4.5), ("sheet", "alarm", 4.5),
    ("paper", "alarm", 4.5), ("wash", "alarm", 4.5), ("caution-wash", "caution", 4.5),
    ("caution-wash", "ink", 4.5), ("caution-wash", "soft", 4.5), ("alarm-wash", "soft", 4.5),
    ("sheet", "caution", 4.5), ("caution-wash", "accent", 4.5), ("alarm-wash", "accent", 4.5),
    ("wash", "soft", 4.5), ("sheet", "edge", 3), ("paper", "edge", 3),
)  # fmt: skip


@pytest.mark.parametrize("theme", [*THEMES, ("print",)], ids=" ".join)
def test_colours_have_enough_contrast(theme: tuple[str, ...]) -> None:
    """Computed from the tokens, from which every colour on screen comes.

    Where more contrast is asked for: 7 for text (1.4.6, level AAA) and 4.5 for edges.
    """
    colours = tokens(*theme)
    more = {4.5: 7, 3: 4.5} if MORE in theme else {}
    weak = {
        f"{text} on {ground}": round(ratio, 2)
        for ground, text, least in PAIRS
        if (ratio := contrast(colours[ground], colours[text])) < more.get(least, least)
    }

    assert {} == weak


def test_each_theme_of_its_own_is_another_one() -> None:
    """Otherwise the test above would compute one theme four times."""
    themes = {tuple(sorted(tokens(*theme).items())) for theme in THEMES}

    assert len(THEMES) == len(themes)


def test_under_forced_colours_every_colour_is_one_of_the_reader() -> None:
    """The browser repaints nothing there (so that no mark vanishes): the tokens have to do it."""
    system = {"Canvas", "CanvasText", "LinkText"}
    forced = dict(re.findall(r"--([\w-]+): (\w+);", blocks()["(forced-colors: active)"]))

    assert dict.fromkeys(tokens(), True) == {
        name: value in system for name, value in forced.items()
    }


@pytest.mark.parametrize("file", STYLES, ids=lambda file: file.name)
def test_colours_come_from_the_tokens_alone(file: Path) -> None:
    """So that the tests above speak of all of them."""
    words = r"#[0-9a-fA-F]{3,8}\b(?=[;\s])|rgba?\(|hsla?\(|: (?:black|white|gray|grey|red);"

    assert [] == re.findall(words, file.read_text())


@pytest.mark.parametrize("file", STYLES + SCRIPTS + DRAWINGS, ids=lambda file: file.name)
def test_nothing_moves_by_itself(file: Path) -> None:
    """Some people get sick from it (WCAG 2.2, 2.3.3), and a mark that fades in comes late."""
    moves = r"transition|animation|@keyframes|scroll-behavior|smooth|\.animate\(|<animate|marquee"

    assert [] == re.findall(moves, file.read_text())


def blocks() -> dict[str, str]:
    """The blocks of the tokens by their media query; the one without is ""."""
    parts = re.split(r"^@media (.+) \{$", TOKENS.read_text(), flags=re.MULTILINE)
    return {"": parts[0]} | dict(zip(parts[1::2], parts[2::2], strict=True))


def tokens(*theme: str) -> dict[str, str]:
    """The colours of a theme: of each query that it fulfils, the later over the earlier."""
    found: dict[str, str] = {}
    for query, block in blocks().items():
        if all(each in theme for each in query.split(" and ") if each):
            found |= re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block)
    return found


def contrast(one: str, other: str) -> float:
    """The contrast ratio of WCAG 2.2."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    """The relative luminance of WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
