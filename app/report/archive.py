"""A laid out page as a file for the archive: PDF/A-3a, and named as PDF/UA-1 beside it.

WeasyPrint writes one variant a file. PDF/A is the one that it is asked for, since it brings the
colour profile and the relations of attached files; what PDF/UA-1 asks beyond it (tags, language,
title, a title bar that shows it) WeasyPrint writes in both, but for the line that names it.
Source: ISO 19005-3 6.6.4 and 6.8, ISO 14289-1 clause 5, as WeasyPrint and the public notes of the
PDF Association tell them; the standards themselves were not read.
"""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any

from app.report.attached import Attached

VARIANT = "pdf/a-3a"
_COLOURS = "sRGB2014"
# Any word but "srgb", at which WeasyPrint would read the profile itself.
_GIVEN = "given"

_END_OF_RDF = b"</rdf:RDF>"
# PDF/A allows a property of another schema only where the file describes that schema.
_PDF_UA = b"""<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">\
<pdfuaid:part>1</pdfuaid:part></rdf:Description>\
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" \
xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" \
xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#"><pdfaExtension:schemas><rdf:Bag>\
<rdf:li rdf:parseType="Resource"><pdfaSchema:schema>PDF/UA identification schema\
</pdfaSchema:schema><pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/\
</pdfaSchema:namespaceURI><pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix><pdfaSchema:property>\
<rdf:Seq><rdf:li rdf:parseType="Resource"><pdfaProperty:name>part</pdfaProperty:name>\
<pdfaProperty:valueType>Integer</pdfaProperty:valueType><pdfaProperty:category>internal\
</pdfaProperty:category><pdfaProperty:description>Part of ISO 14289 that the file follows\
</pdfaProperty:description></rdf:li></rdf:Seq></pdfaSchema:property></rdf:li></rdf:Bag>\
</pdfaExtension:schemas></rdf:Description>"""


def archived(
    document: Any, identifier: bytes, attached: Sequence[Attached], made_at: datetime | None
) -> bytes:
    """Write a laid out document. No clock is read.

    made_at: what the attached files name as their time; needed where there are any.
    """
    _give_colours(document)
    metadata = document.metadata
    metadata.generate_rdf_metadata = _named_as_ua(metadata.generate_rdf_metadata)
    attachments = [_attachment(each, made_at) for each in attached]
    media_types = {each.name: each.media_type for each in attached}

    def finish(_document: Any, pdf: Any) -> None:
        _name_media_types(pdf, media_types)
        _relate_once(pdf)
        _scope_headers(pdf)

    return bytes(
        document.write_pdf(
            pdf_variant=VARIANT,
            pdf_identifier=identifier,
            output_intent=_GIVEN,
            attachments=attachments,
            finisher=finish,
        )
    )


def _give_colours(document: Any) -> None:
    """The colour profile that PDF/A asks for: WeasyPrint's own, which it would not close."""
    from weasyprint.css import ColorProfile

    channels = (["r"], ["g"], ["b"])
    document.output_intent = _COLOURS
    document.color_profiles[_COLOURS] = ColorProfile(
        BytesIO(_profile()), f"{_COLOURS}.icc", "relative-colorimetric", channels
    )


@cache
def _profile() -> bytes:
    return files("weasyprint.pdf").joinpath(f"{_COLOURS}.icc").read_bytes()


def _named_as_ua(generate: Callable[..., bytes]) -> Callable[..., bytes]:
    def with_ua(*asked: Any) -> bytes:
        made = generate(*asked)
        # A second rdf:RDF would be no metadata to a validator.
        if made.count(_END_OF_RDF) != 1:
            raise ValueError("the metadata has another shape than expected")
        return made.replace(_END_OF_RDF, _PDF_UA + _END_OF_RDF)

    return with_ua


def _attachment(each: Attached, made_at: datetime | None) -> Any:
    from weasyprint import Attachment

    if made_at is None:
        raise ValueError("attached files need a time")
    at = made_at.astimezone(UTC)
    return Attachment(
        file_obj=BytesIO(each.content),
        name=each.name,
        description=each.description,
        relationship=each.relationship,
        created=at,
        modified=at,
    )


def _name_media_types(pdf: Any, media_types: dict[str, str]) -> None:
    """WeasyPrint guesses the type by the name, which knows none of FHIR's."""
    for held in pdf.objects:
        if isinstance(held, dict) and held.get("Type") == "/Filespec":
            stream = pdf.objects[int(held["EF"]["F"].split()[0])]
            name = held["UF"].string
            name = name.decode() if isinstance(name, bytes) else name
            stream.extra["Subtype"] = "/" + _pdf_name(media_types[name])


def _relate_once(pdf: Any) -> None:
    """WeasyPrint lists each attached file twice among those that belong to the document."""
    if "AF" in pdf.catalog:
        pdf.catalog["AF"][:] = dict.fromkeys(pdf.catalog["AF"])


def _scope_headers(pdf: Any) -> None:
    """Say of each heading in a table whether it stands for its column or its row.

    A heading in the head of a table heads its column, any other its row; WeasyPrint leaves it out.
    """
    elements: dict[Any, Any] = {}
    for held in pdf.objects:
        # A stream has other ways to hold its words.
        if isinstance(held, dict) and held.get("Type") == "/StructElem":
            element: Any = held
            elements[element.reference] = element
    for element in elements.values():
        if element["S"] == "/TH":
            row = elements[element["P"]]
            is_head = elements[row["P"]]["S"] == "/THead"
            element["A"]["Scope"] = "/Column" if is_head else "/Row"


def _pdf_name(text: str) -> str:
    """A name object without its slash: everything but letters and digits is escaped."""
    return "".join(c if c.isascii() and c.isalnum() else f"#{ord(c):02x}" for c in text)
