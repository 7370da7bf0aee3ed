"""Files sent with a form, read in memory: nothing of them is written anywhere."""

from dataclasses import dataclass, field

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header

from app.language.words import _

MAX_PARTS = 24
MEDIA_TYPE = "multipart/form-data"


class BadUpload(ValueError):
    """The body is not a form with files."""


@dataclass(frozen=True)
class UploadedFile:
    """One file, under the name that the browser gave."""

    name: str
    content: bytes


@dataclass
class Upload:
    """What a form sent. files: those that were chosen, in their order."""

    fields: dict[str, str] = field(default_factory=dict)
    files: list[UploadedFile] = field(default_factory=list)


def read_upload(content_type: str, body: bytes) -> Upload:
    """Read a body whose size was limited before.

    Raises: BadUpload.
    """
    kind, options = parse_options_header(content_type)
    boundary = options.get(b"boundary", b"")
    if kind != MEDIA_TYPE.encode() or not boundary:
        raise BadUpload(_("not a form with files"))
    reading = _Reading()
    try:
        parser = MultipartParser(boundary, reading.callbacks())  # type: ignore[arg-type]
        parser.write(body)
        parser.finalize()
        return reading.upload()
    except (FormParserError, UnicodeDecodeError) as error:
        raise BadUpload(_("the form cannot be read")) from error


class _Reading:
    """Collects the parts as the parser comes by them."""

    def __init__(self) -> None:
        self._parts: list[tuple[dict[bytes, bytes], bytearray]] = []
        self._name, self._value = bytearray(), bytearray()

    def callbacks(self) -> dict[str, object]:
        """What the parser calls."""
        return {
            "on_part_begin": self._begin,
            "on_part_data": lambda data, start, end: self._parts[-1][1].extend(data[start:end]),
            "on_header_field": lambda data, start, end: self._name.extend(data[start:end]),
            "on_header_value": lambda data, start, end: self._value.extend(data[start:end]),
            "on_header_end": self._header,
        }

    def _begin(self) -> None:
        if len(self._parts) == MAX_PARTS:
            raise BadUpload(_("more than {MAX_PARTS} parts").format(MAX_PARTS=MAX_PARTS))
        self._parts.append(({}, bytearray()))

    def _header(self) -> None:
        self._parts[-1][0][bytes(self._name).lower()] = bytes(self._value)
        self._name, self._value = bytearray(), bytearray()

    def upload(self) -> Upload:
        """The fields, each once, and the files."""
        made = Upload()
        for headers, content in self._parts:
            _kind, options = parse_options_header(headers.get(b"content-disposition", b""))
            name = options.get(b"name", b"").decode("utf-8")
            if b"filename" not in options:
                if name in made.fields:
                    raise BadUpload(_("a field stands twice"))
                made.fields[name] = content.decode("utf-8")
            elif options[b"filename"] or content:
                # A browser sends an empty file where none was chosen.
                file = options[b"filename"].decode("utf-8", "replace")
                made.files.append(UploadedFile(file, bytes(content)))
        return made
