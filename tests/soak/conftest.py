"""What the tests of faults share."""

from collections.abc import Iterator

import pytest

from tests.soak.servers import Nursery


@pytest.fixture(scope="session")
def nursery() -> Iterator[Nursery]:
    """What forks the servers."""
    opened = Nursery()
    yield opened
    opened.close()
