"""A posted form as a mapping, refused whole where it cannot be read."""

from collections.abc import Mapping
from typing import Annotated
from urllib.parse import parse_qsl

from fastapi import Depends, Request
from starlette.exceptions import HTTPException

from app.language.words import _

# They ask for something and change nothing; a form comes with another one.
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
# A whole sheet has about 700 fields.
MAX_FIELDS = 3000


async def read_form(request: Request) -> Mapping[str, str]:
    """The fields of an ordinary form, each once.

    Raises: HTTPException 415 where it is no form, 422 where it cannot be read.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise HTTPException(415)
    try:
        pairs = parse_qsl(
            (await request.body()).decode("utf-8"),
            keep_blank_values=True,
            errors="strict",
            max_num_fields=MAX_FIELDS,
        )
    except UnicodeDecodeError:
        raise HTTPException(
            422, _("The form is not text in UTF-8. Nothing was recorded.")
        ) from None
    except ValueError:
        raise HTTPException(422, _("The form has too many fields. Nothing was recorded.")) from None
    form: dict[str, str] = {}
    for name, value in pairs:
        if name in form:
            shown = "".join(c if c.isprintable() else " " for c in name)[:60]
            raise HTTPException(
                422,
                _("The field {shown} stands twice in the form. Nothing was recorded.").format(
                    shown=shown
                ),
            )
        form[name] = value
    return form


async def read_body(request: Request) -> bytes:
    """The body as it was sent, whatever it says that it is."""
    return await request.body()


RawBody = Annotated[bytes, Depends(read_body)]
FormFields = Annotated[Mapping[str, str], Depends(read_form)]


def revision_in(form: Mapping[str, str], name: str = "revision") -> int:
    """The revision that a form was made from.

    Raises: HTTPException 422.
    """
    text = form.get(name, "")
    if not (text.isascii() and text.isdecimal() and len(text) <= 9):
        raise HTTPException(
            422,
            _(
                "The form does not say which state it was made from. Nothing was recorded; "
                "load the page again."
            ),
        )
    return int(text)
