"""The knowledge that ships with the program, as a solver reads it; translated once."""

import pytest

from app.knowledge.load import knowledge
from tests.proofs.proving import Proofs, TwoExams


@pytest.fixture(scope="session")
def proofs() -> Proofs:
    """What can be asked about every exam at once."""
    return Proofs(knowledge())


@pytest.fixture(scope="session")
def two() -> TwoExams:
    """The same for an exam and a later one."""
    return TwoExams(knowledge())
