"""A PDF that was sent to be checked is small to send, and stays small when it is read."""

import tracemalloc
import zlib
from collections.abc import Callable
from functools import cache

import pytest

from app.report.seal_check import read_file

MEGABYTE = 1024 * 1024
# Of what each bomb holds unpacked; a reader without limits would hold all of it.
UNPACKED = 128 * MEGABYTE
MOST = 40 * MEGABYTE


@cache
def packed(times: int) -> bytes:
    """Nothing but zeros, packed so many times."""
    packer = zlib.compressobj(1)
    zeros = bytes(MEGABYTE)
    parts = b"".join(packer.compress(zeros) for _ in range(UNPACKED // MEGABYTE))
    body = parts + packer.flush()
    for _ in range(times - 1):
        body = zlib.compress(body, 9)
    return body


def with_xref(body: bytes, filters: bytes) -> bytes:
    """A file whose table of contents is the bomb."""
    start = b"%PDF-1.5\n1 0 obj\n<</Type/Catalog>>\nendobj\n"
    head = b"<</Type/XRef/Size 3/W[1 4 1]/Root 1 0 R/Filter%s/Length %d>>" % (filters, len(body))
    table = b"2 0 obj\n%s\nstream\n%s\nendstream\nendobj\n" % (head, body)
    return b"%s%sstartxref\n%d\n%%%%EOF" % (start, table, len(start))


def with_objects(body: bytes, filters: bytes) -> bytes:
    """A file whose catalogue and title stand in a stream of objects, which is the bomb."""
    start = b"%PDF-1.5\n"
    head = b"<</Type/ObjStm/N 2/First 8/Filter%s/Length %d>>" % (filters, len(body))
    start += b"3 0 obj\n%s\nstream\n%s\nendstream\nendobj\n" % (head, body)
    at = [(2, 3, 0), (2, 3, 1), (1, len(b"%PDF-1.5\n"), 0), (1, len(start), 0)]
    rows = bytes(6) + b"".join(
        kind.to_bytes(1, "big") + place.to_bytes(4, "big") + more.to_bytes(1, "big")
        for kind, place, more in at
    )
    head = b"<</Type/XRef/Size 5/W[1 4 1]/Root 1 0 R/Info 2 0 R/Length %d>>" % len(rows)
    table = b"4 0 obj\n%s\nstream\n%s\nendstream\nendobj\n" % (head, rows)
    return b"%s%sstartxref\n%d\n%%%%EOF" % (start, table, len(start))


@pytest.mark.parametrize("build", [with_xref, with_objects])
@pytest.mark.parametrize(
    ("times", "filters"), [(1, b"/FlateDecode"), (2, b"[/FlateDecode/FlateDecode]")]
)
def test_a_file_that_unpacks_without_end_is_damaged_and_costs_little(
    build: Callable[[bytes, bytes], bytes], times: int, filters: bytes
) -> None:
    """A thousand times its size would stop the server for everybody."""
    file = build(packed(times), filters)
    assert len(file) < 2 * MEGABYTE
    read_file(b"%PDF-1.5 for what is loaded at the first call")
    tracemalloc.start()
    found = read_file(file)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert "damaged, so it cannot be read as a PDF" == found.fault
    assert peak < MOST
