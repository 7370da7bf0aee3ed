"""Templates in the language in use: each language has its own, compiled with its words in them."""

from collections.abc import Sequence
from pathlib import Path

from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined
from jinja2.ext import Extension

from app.knowledge.terms import ROLE_WORDS, SEX_WORDS
from app.language.markup import translated
from app.language.words import ENGLISH, _, language, ngettext, pgettext, speaking


class InLanguage(Extension):
    """Puts a template into the language in which its environment was made, before it is read."""

    def __init__(self, environment: Environment) -> None:
        super().__init__(environment)
        self.language = language()

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The template with the messages of this language in the place of the English."""
        if self.language == ENGLISH:
            return source
        with speaking(self.language):
            return translated(source, _)


def environment(
    folder: Path,
    extensions: Sequence[type[Extension]] = (),
    bytecode_cache: BytecodeCache | None = None,
) -> Environment:
    """The templates of a folder in the language in use."""
    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=[InLanguage, *extensions],
        bytecode_cache=bytecode_cache,
    )
    made.globals["language"] = language()
    made.globals["_"] = _
    made.globals["ngettext"] = ngettext
    made.globals["pgettext"] = pgettext
    made.filters["role_words"] = lambda role: ROLE_WORDS.get(role, role)
    made.filters["sex_words"] = lambda sex: SEX_WORDS.get(sex, sex)
    return made
