"""What the scripts of the pages say: `words("…")` in their text."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

from app.language.words import ENGLISH, _, language

_SAID = re.compile(r'\bwords\(\s*("(?:[^"\\]|\\.)*")')


def script_messages(script: str) -> Iterator[str]:
    """Every message of a script, in order."""
    for found in _SAID.finditer(script):
        yield json.loads(found[1])


def script_words(folder: Path) -> str:
    """What the scripts of a folder say, as JSON by the English; "" where that is what they say."""
    if language() == ENGLISH:
        return ""
    texts = (file.read_text(encoding="utf-8") for file in sorted(folder.glob("*.js")))
    said = {message: _(message) for text in texts for message in script_messages(text)}
    return json.dumps(said, ensure_ascii=False, separators=(",", ":"))
