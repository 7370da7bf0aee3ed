"""An identity provider on this machine, honest again at the start of each test."""

from collections.abc import Iterator

import pytest

from tests.people.provider import LocalProvider


@pytest.fixture(scope="session")
def serving() -> Iterator[LocalProvider]:
    """The one provider of this test run."""
    with LocalProvider().serve() as provider:
        yield provider


@pytest.fixture
def provider(serving: LocalProvider) -> LocalProvider:
    """A provider that answers as it should until it is told otherwise."""
    serving.be_honest()
    return serving
