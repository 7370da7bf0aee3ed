"""How the pieces of a page are drawn with little: no empty lines, and nothing drawn twice."""

import re
from collections.abc import Callable, Hashable, Iterable
from typing import Any

from jinja2.bccache import Bucket, BytecodeCache
from jinja2.ext import Extension
from jinja2.lexer import Token, TokenStream
from markupsafe import Markup

# The templates of the sheet, which come a few hundred times in one page.
TIGHT = frozenset({"_sheet.html", "_watch.html", "_help.html"})
# A line end between two tags, or between a tag and a statement.
_LINE_END = re.compile(r"(?:(?<=>)|\A)\s*\n\s*(?=<|\Z)")
# The pieces that are kept follow from the vocabulary and number about 1,500. More come only while
# somebody works on the templates, which makes new ones of each.
_MOST_KEPT = 10_000


class Tight(Extension):
    """Leaves out the line ends between tags, which a browser would keep as so many empty texts."""

    def filter_stream(self, stream: TokenStream) -> Iterable[Token]:
        """The template without them; lines keep their numbers."""
        for token in stream:
            if token.type != "data" or stream.name not in TIGHT:
                yield token
            elif value := _LINE_END.sub("", token.value):
                yield Token(token.lineno, token.type, value)


class Compiled(BytecodeCache):
    """What templates were compiled to, shared by every program that runs in one process.

    A server compiles each once as it is; a run of tests starts hundreds of programs.
    """

    def __init__(self) -> None:
        self._held: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill in what is held; the bucket refuses it where the template has changed."""
        if held := self._held.get(bucket.key):
            bucket.bytecode_from_string(held)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Hold it."""
        self._held[bucket.key] = bucket.bytecode_to_string()


class Kept:
    """Draws a piece once and remembers it."""

    def __init__(self) -> None:
        self._drawn: dict[Hashable, Markup] = {}

    def __call__(self, macro: Callable[[Any], Markup], key: Hashable, view: Any) -> Markup:
        """What the macro makes of the view.

        key: everything that the piece depends on, so far as it does not stand fixed while the
        program runs; None where it is not to be kept, as what a person typed never is.
        """
        if key is None:
            return macro(view)
        drawn = self._drawn.get((macro, key))
        if drawn is None:
            if len(self._drawn) >= _MOST_KEPT:
                self._drawn.clear()
            drawn = self._drawn[macro, key] = macro(view)
        return drawn
