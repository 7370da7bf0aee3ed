"""Bring the message catalogues up to date, or check that they are and that each is complete."""

import re
import sys
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po
from jinja2 import Environment

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from app.exam.vocabulary import vocabulary  # noqa: E402
from app.knowledge.load import knowledge  # noqa: E402
from app.knowledge.practice import practice_cases  # noqa: E402
from app.language.markup import messages  # noqa: E402
from app.language.scripts import script_messages  # noqa: E402
from app.language.words import (  # noqa: E402
    ENGLISH,
    KNOWLEDGE,
    LANGUAGES,
    MESSAGES,
    collecting,
    speaking,
)

TEMPLATES = Environment(autoescape=True, extensions=["jinja2.ext.i18n"])
LOCALE = ROOT / "app" / "language" / "locale"
HEADER = """\
# {language} for Evenhand, domain {domain}. Written by the authors; read by no clinician.
# Kept up to date by script/words.
msgid ""
msgstr ""
"Language: {code}\\n"
"Plural-Forms: {plural_forms}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""
# What a translation must hold as often as the English: {name}, %s, <1> and </1>.
PLACEHOLDER = re.compile(r"\{[^{}]*\}|%\(\w+\)s|</?\d+>")
# Places of a message that are named to its translator.
MOST_PLACES = 3


def knowledge_words() -> Catalog:
    """Everything in the vocabulary, the knowledge and the practice cases that people read."""
    found = Catalog(domain=KNOWLEDGE)
    with speaking(ENGLISH), collecting() as words:
        # Made anew, since what is kept already asks for no words.
        vocabulary.make()
        knowledge.make()
        practice_cases.make()
    for text, places in words.items():
        found.add(text, auto_comments=list(dict.fromkeys(places))[:MOST_PLACES])
    return found


# What marks a message in the code, and which of its arguments are words.
KEYWORDS = {"_": None, "N_": None, "ngettext": (1, 2), "pgettext": ((1, "c"), 2)}
SOURCES = ("app", "static", "templates")


def interface_words() -> Catalog:
    """Everything in the code, the templates and the scripts that people read."""
    found = Catalog(domain=MESSAGES)
    for folder in SOURCES:
        for file in sorted((ROOT / folder).rglob("*")):
            name = file.relative_to(ROOT).as_posix()
            for text, context in _messages_of(file):
                found.add(text, locations=[(name, 0)], context=context)
    return found


def _messages_of(file: Path) -> Iterator[tuple[str | tuple[str, ...], str | None]]:
    match file.suffix:
        case ".py":
            with file.open("rb") as code:
                for _line, text, _comments, context in extract("python", code, KEYWORDS):
                    yield text, context
        case ".js" if file.parent.name == "static":
            for text in script_messages(file.read_text(encoding="utf-8")):
                yield text, None
        case ".html":
            source = file.read_text(encoding="utf-8")
            for text in messages(source):
                yield text, None
            for _line, function, said in TEMPLATES.extract_translations(source, tuple(KEYWORDS)):
                match function, said:
                    case "pgettext", (str(context), str(text)):
                        yield text, context
                    case "ngettext", (str(one), str(several), *_number):
                        yield (one, several), None
                    # What is not written out there is a message elsewhere.
                    case "_", str(text):
                        yield text, None


def updated(file: Path, words: Catalog, language: str) -> Catalog:
    """The catalogue in a file with the messages that there are now."""
    held = Catalog(domain=words.domain)
    if file.exists():
        with file.open("rb") as text:
            held = read_po(text, locale=language, domain=words.domain)
    new = Catalog(locale=language, domain=words.domain, fuzzy=False)
    for message in words:
        if message.id:
            before = held.get(message.id, message.context)
            flags = set(before.flags) if before else set()
            new.add(
                message.id,
                before.string if before else None,
                locations=[(place, 0) for place in dict.fromkeys(p for p, _ in message.locations)],
                auto_comments=message.auto_comments,
                user_comments=before.user_comments if before else (),
                flags=flags | (message.flags - {"python-format"}),
                context=message.context,
            )
    return new


def as_bytes(catalogue: Catalog) -> bytes:
    """The text of the file."""
    code = str(catalogue.locale)
    header = HEADER.format(
        language=LANGUAGES[code],
        domain=catalogue.domain,
        code=code,
        plural_forms=catalogue.plural_forms,
    )
    written = BytesIO()
    write_po(written, catalogue, width=100, include_lineno=False, omit_header=True)
    return header.encode() + written.getvalue()


def faults(catalogue: Catalog) -> Iterator[str]:
    """What is missing or does not fit, a message a line."""
    for message in catalogue:
        if message.id:
            yield from (f"{fault}: {message.id!r}" for fault in _faults(message))


def _faults(message: Message) -> Iterator[str]:
    ids = message.id if isinstance(message.id, tuple) else (message.id,)
    strings = message.string if isinstance(message.string, tuple) else (message.string,)
    if message.fuzzy:
        yield "fuzzy"
    if len(strings) != len(ids) or not all(strings):
        yield "not translated"
        return
    for one, other in zip(ids, strings, strict=True):
        wanted, given = (sorted(PLACEHOLDER.findall(each)) for each in (one, other))
        # A number may be told in words: “one more warning”.
        if wanted != given and not (len(ids) > 1 and set(given) <= set(wanted)):
            yield f"placeholders {given} instead of {wanted}"
        if one.strip() == one and other.strip() != other and one[0].isalnum():
            yield "space at an end"


def main(arguments: list[str]) -> int:
    """Write or check; the number of the fault for the shell."""
    check = arguments == ["--check"]
    domains = (interface_words(), knowledge_words())
    wrong = 0
    for language in LANGUAGES:
        for words in domains if language != ENGLISH else ():
            file = LOCALE / language / "LC_MESSAGES" / f"{words.domain}.po"
            new = updated(file, words, language)
            text = as_bytes(new)
            name = file.relative_to(ROOT)
            if not file.exists() or file.read_bytes() != text:
                if check:
                    print(f"{name} is stale: run script/words")
                    wrong += 1
                else:
                    file.parent.mkdir(parents=True, exist_ok=True)
                    file.write_bytes(text)
                    print(f"{name} written")
            for fault in faults(new):
                wrong += 1
                if check:
                    print(f"{name}: {fault}")
    if not check:
        print(f"{wrong} to be translated or mended (script/words --check lists them)")
        return 0
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
