"""Units as words, and the words of a grade."""

from app.language.words import N_, Spoken, pgettext

# What is counted, one and several; every other unit is written as it is in every language.
_ONE = Spoken(
    {
        "falls in 12 months": N_("fall in 12 months"),
        "stands": N_("stand"),
        "steps": N_("step"),
        "taps": N_("tap"),
        "years": N_("year"),
    }
)
_SEVERAL = Spoken(
    {
        "/min": N_("/min"),
        "falls in 12 months": N_("falls in 12 months"),
        "stands": N_("stands"),
        "steps": N_("steps"),
        "steps/min": N_("steps/min"),
        "taps": N_("taps"),
        "years": N_("years"),
    }
)
_GRADES = Spoken(
    {
        "slight": N_("slight"),
        "definite": N_("definite"),
        "marked": N_("marked"),
    }
)


def counted(unit: str, number: object) -> str:
    """A unit behind a number: one fall, two falls."""
    words = _ONE if number == 1 and unit in _ONE else _SEVERAL
    return words.get(unit, unit)


def unit_on_paper(unit: str) -> str:
    """A unit that stands for itself, as it is written on paper; the code is for machines."""
    return counted(unit, None).replace("mm[Hg]", "mmHg")


def grade_word(name: str) -> str:
    """A grade in words. name: as conditions name it."""
    # Of a sign that was looked for; nothing in a list is another “none”.
    return pgettext("grade of a sign", "none") if name == "none" else _GRADES[name]
