"""What an exam that cannot be read says, and how it shows what it found."""

from app.language.words import _


class BadExam(ValueError):
    """The exam cannot be read. `faults` lists every fault as `place: what is wrong`."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


class BadValue(ValueError):
    """One value cannot be recorded; the message says what is wrong, without the place."""


def short(raw: object) -> str:
    """A faulty value as it is shown: never long, never more than one line."""
    if isinstance(raw, bool):
        text = "true" if raw else "false"
    elif isinstance(raw, dict | list):
        text = _("an object") if isinstance(raw, dict) else _("a list")
    elif raw is None:
        text = "null"
    elif isinstance(raw, str):
        text = raw.encode("utf-8", "replace").decode()
    else:
        text = str(raw)
    text = "".join(c if c.isprintable() else " " for c in text)
    return text if len(text) <= 40 else text[:39] + "…"
