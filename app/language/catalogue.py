"""The message catalogues: read once for each language, straight from the files that people edit."""

from functools import cache
from gettext import GNUTranslations
from importlib import resources
from io import BytesIO


@cache
def translations(code: str, domain: str) -> GNUTranslations:
    """The messages of one domain in a language; what has no translation comes back as it is."""
    # Only who speaks another language needs it.
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    file = resources.files(__package__) / "locale" / code / "LC_MESSAGES" / f"{domain}.po"
    with file.open("rb") as text:
        read = read_po(text, locale=code, domain=domain)
    compiled = BytesIO()
    write_mo(compiled, read)
    compiled.seek(0)
    return GNUTranslations(compiled)
