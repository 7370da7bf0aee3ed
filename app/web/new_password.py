"""A new password that somebody chooses: typed twice, and refused where it is easy to guess."""

from collections.abc import Iterable, Mapping

from fastapi import Request

from app.language.words import _
from app.people.passwords import BadPassword, check_new_password
from app.web.answers import Templates
from app.web.identity import visit_of

PASSWORD_FIELDS = ("password", "again")


def password_faults(
    request: Request,
    form: Mapping[str, str],
    names: Iterable[str],
    *,
    has_second_factor: bool = False,
    fields: tuple[str, str] = PASSWORD_FIELDS,
) -> dict[str, str]:
    """What is wrong with a new password, by field.

    names: of the person, who must not use them, nor a name of the clinic; fields: the password's,
    and that of its repetition.
    """
    new, again = form.get(fields[0], ""), form.get(fields[1], "")
    templates: Templates = request.app.state.templates
    clinics = (visit_of(request).settings.name, templates.site.clinic)
    try:
        check_new_password(new, has_second_factor=has_second_factor, words=(*names, *clinics))
    except BadPassword as bad:
        return {fields[0]: bad.says}
    return {} if new == again else {fields[1]: _("The two passwords are not the same")}
