"""The fields of a form that comes back: what was typed, and what is wrong with it."""

from collections.abc import Collection, Iterable, Mapping

from app.web.pages import Fault, Field
from app.web.wording import sentence


def fields_of(
    names: Iterable[str],
    typed: Mapping[str, str],
    faults: Mapping[str, str],
    never_sent_back: Collection[str] = (),
) -> dict[str, Field]:
    """Each field by its name, as a page takes it.

    never_sent_back: fields that come back empty whatever was typed, as passwords do.
    """
    return {
        name: Field(
            "" if name in never_sent_back else typed.get(name, ""), sentence(faults.get(name, ""))
        )
        for name in names
    }


def summary_of(fields: Mapping[str, Field]) -> tuple[Fault, ...]:
    """The lines at the top of the page: one for each field with a fault, in the order given."""
    return tuple(Fault(name, field.fault) for name, field in fields.items() if field.fault)
