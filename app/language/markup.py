"""Find the messages in a template, and put them into another language.

A template is written in English as it is shown. Every run of text between two blocks is one
message, found here and nowhere marked: so none can be forgotten. What stands inside a run and is no
text has a short name in the message: `{name}` for an expression, `<1>…</1>` for the first element
inside of it, `<2/>` for one without an end. Where a statement splits a sentence, the template says
it whole by `_()` instead.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

# Elements inside a sentence; every other one ends it.
INLINE = frozenset(
    (
        *("a", "abbr", "b", "br", "code", "dfn", "em", "i", "kbd", "q", "s", "small", "span"),
        *("strong", "sub", "sup", "time", "u", "var", "wbr"),
    )
)
_VOID = frozenset({"br", "wbr"})
# Attributes that people read or hear, or that a script shows them.
_SAID = re.compile(r"^(?:title|alt|placeholder|aria-label|aria-description|data-say(?:-[a-z-]+)?)$")
_TOKEN = re.compile(
    r"""
    (?P<comment>\{\#.*?\#\}|<!--.*?-->)
    | (?P<statement>\{%.*?%\})
    | (?P<expression>\{\{.*?\}\})
    | (?P<tag></?(?:[a-zA-Z]|\{\{)(?:\{\{.*?\}\}|\{%.*?%\}|\{\#.*?\#\}
        |"(?:\{\{.*?\}\}|\{%.*?%\}|[^"])*"
        |'(?:\{\{.*?\}\}|\{%.*?%\}|[^'])*'|[^>"'])*>|<![^>]*>)
    | (?P<text>(?:(?!\{[{%\#]|</?[a-zA-Z]|</?\{\{|<!).)+)
    """,
    re.VERBOSE | re.DOTALL,
)
_ATTRIBUTE = re.compile(r"""(?<=\s)([a-zA-Z-]+)="((?:\{\{.*?\}\}|\{%.*?%\}|[^"])*)\"""", re.DOTALL)
_PIECE = re.compile(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}|(?:(?!\{[{%#]).)+", re.DOTALL)
_RAW = re.compile(r"<(script|style|textarea|pre)\b", re.IGNORECASE)
_NAME = re.compile(r"[A-Za-z_][A-Za-z_0-9]*(?:\.[A-Za-z_][A-Za-z_0-9]*|\[[^\]]*\])*")
_OF_CLASSES = re.compile(r"\{%-? *block width\b")
_ADDRESS = re.compile(r"\s*/[\w/#]*\s*")
_LETTERS = re.compile(r"[^\W\d_]{2}|\b[AaIi]\b")
_ENTITY = re.compile(r"&[#a-zA-Z0-9]+;")
_PLACE = re.compile(r"\{\w+\}|</?\d+/?>")


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str

    @property
    def name(self) -> str:
        """The name of a tag's element."""
        found = re.match(r"</?([a-zA-Z][a-zA-Z0-9]*)", self.text)
        return found[1].lower() if found else ""

    @property
    def is_end(self) -> bool:
        return self.text.startswith("</")

    @property
    def is_inside(self) -> bool:
        """Whether it can stand inside a sentence."""
        return self.kind in ("text", "expression") or (self.kind == "tag" and self.name in INLINE)


def messages(source: str) -> Iterator[str]:
    """Every message of a template, in order."""
    found: list[str] = []

    def note(message: str) -> str:
        found.append(message)
        return message

    translated(source, note)
    yield from found


def translated(source: str, translate: Callable[[str], str]) -> str:
    """The template with each message given to `translate`; what comes back the same stays."""
    parts: list[str] = []
    run: list[_Token] = []
    raw = before = ""
    for token in _tokens(source):
        if token.kind == "text" and _OF_CLASSES.match(before):
            # The words of a class and no text.
            parts.append(token.text)
        elif raw:
            parts.append(token.text)
            raw = "" if token.kind == "tag" and token.is_end and token.name == raw else raw
        elif token.is_inside:
            run.append(token)
        else:
            parts += [_run(run, translate), _boundary(token, translate)]
            run = []
            if token.kind == "tag" and not token.is_end and _RAW.match(token.text):
                raw = token.name
        before = token.text
    return "".join([*parts, _run(run, translate)])


def _tokens(source: str) -> Iterator[_Token]:
    at = 0
    while at < len(source):
        found = _TOKEN.match(source, at)
        # A lone sign that begins nothing is text.
        kind, text = (found.lastgroup or "text", found[0]) if found else ("text", source[at])
        at += len(text)
        yield _Token(kind, text)


def _boundary(token: _Token, translate: Callable[[str], str]) -> str:
    return _attributes(token.text, translate) if token.kind == "tag" else token.text


def _attributes(tag: str, translate: Callable[[str], str]) -> str:
    """The tag with those of its attributes translated that people read."""

    def attribute(found: re.Match[str]) -> str:
        name, value = found.groups()
        return f'{name}="{_value(value, translate)}"' if _SAID.match(name) else found[0]

    return _ATTRIBUTE.sub(attribute, tag)


def _value(value: str, translate: Callable[[str], str]) -> str:
    parts: list[str] = []
    run: list[_Token] = []
    for piece in _PIECE.findall(value):
        if piece.startswith("{%"):
            parts += [_run(run, translate), piece]
            run = []
        else:
            run.append(_Token("expression" if piece.startswith("{{") else "text", piece))
    return "".join([*parts, _run(run, translate)])


def _run(run: list[_Token], translate: Callable[[str], str]) -> str:
    """A run of text, in which an element that only begins or only ends is its border too."""
    ends = _pairs(run)
    parts: list[str] = []
    part: list[_Token] = []
    for place, token in enumerate(run):
        if token.kind == "tag" and place not in ends and token.name not in _VOID:
            parts += [_message(part, translate), _attributes(token.text, translate)]
            part = []
        else:
            part.append(token)
    return "".join([*parts, _message(part, translate)])


def _pairs(run: list[_Token]) -> dict[int, int]:
    """Where each element of a run that has its begin and its end in it has the other."""
    open_: list[int] = []
    found: dict[int, int] = {}
    for place, token in enumerate(run):
        if token.kind == "tag" and token.name not in _VOID:
            if not token.is_end:
                open_.append(place)
            elif open_ and run[open_[-1]].name == token.name:
                begin = open_.pop()
                found |= {begin: place, place: begin}
    return found


def _message(run: list[_Token], translate: Callable[[str], str]) -> str:
    pairs = _pairs(run)
    if not any(token.kind == "text" and _has_words(token.text) for token in run):
        return "".join(_attributes(t.text, translate) if t.kind == "tag" else t.text for t in run)
    if not _has_words("".join(_outside(run, pairs))):
        # Elements side by side with nothing said between them: each by itself.
        return _each(run, pairs, translate)
    whole = "".join(token.text for token in run)
    before = whole[: len(whole) - len(whole.lstrip())]
    after = whole[len(whole.rstrip()) :]
    message, meant = _named(run, pairs, translate)
    said = translate(message)
    if said == message:
        return before + _filled(run, translate) + after if _has_said(run) else whole
    return before + _PLACE.sub(lambda found: meant.get(found[0], found[0]), said) + after


def _has_words(text: str) -> bool:
    return bool(_LETTERS.search(_ENTITY.sub(" ", text))) and not _ADDRESS.fullmatch(text)


def _has_said(run: list[_Token]) -> bool:
    """Whether a tag inside the run has an attribute that people read."""
    return any(
        token.kind == "tag" and any(_SAID.match(n) for n, _ in _ATTRIBUTE.findall(token.text))
        for token in run
    )


def _filled(run: list[_Token], translate: Callable[[str], str]) -> str:
    parts = (_attributes(t.text, translate) if t.kind == "tag" else t.text for t in run)
    return "".join(parts).strip()


def _outside(run: list[_Token], pairs: dict[int, int]) -> Iterator[str]:
    """The text that stands in no element of the run."""
    place = 0
    while place < len(run):
        if place in pairs:
            place = pairs[place]
        elif run[place].kind == "text":
            yield run[place].text
        place += 1


def _each(run: list[_Token], pairs: dict[int, int], translate: Callable[[str], str]) -> str:
    parts: list[str] = []
    place = 0
    while place < len(run):
        token = run[place]
        if place in pairs:
            end = pairs[place]
            parts += [
                _attributes(token.text, translate),
                _message(run[place + 1 : end], translate),
                run[end].text,
            ]
            place = end
        else:
            parts.append(token.text)
        place += 1
    return "".join(parts)


def _named(
    run: list[_Token], pairs: dict[int, int], translate: Callable[[str], str]
) -> tuple[str, dict[str, str]]:
    """The message of a run, and what each of its short names means."""
    meant: dict[str, str] = {}
    said: list[str] = []
    number = 0
    ends: dict[int, str] = {}
    for place, token in enumerate(run):
        match token.kind:
            case "text":
                said.append(token.text)
                continue
            case "expression":
                short = _short(token.text, meant)
            case _ if place in ends:
                short = ends[place]
            case _:
                number += 1
                short = f"<{number}>" if place in pairs else f"<{number}/>"
                if place in pairs:
                    ends[pairs[place]] = f"</{number}>"
        meant[short] = _attributes(token.text, translate) if token.kind == "tag" else token.text
        said.append(short)
    return " ".join("".join(said).split()), meant


def _short(expression: str, meant: dict[str, str]) -> str:
    """A name for an expression: the last of what it reads first, `{name}` for `{{ who.name }}`."""
    found = _NAME.search(re.sub(r"""^\{\{-?\s*|"[^"]*"|'[^']*'""", "", expression))
    whole = re.sub(r"\[[^\]]*\]", "", found[0]) if found else "value"
    name = whole.rpartition(".")[2]
    short, number = f"{{{name}}}", 1
    while meant.get(short, expression) != expression:
        number += 1
        short = f"{{{name}{number}}}"
    return short
