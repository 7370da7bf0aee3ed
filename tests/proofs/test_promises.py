"""The list of promises in the docs is the list of proofs, no more and no less."""

import re
from pathlib import Path

from app.knowledge.load import knowledge
from tests.proofs.write_promises import PAGE, PROOFS, page, promises

# They show that proofs mean what they say, and promise nothing themselves.
NO_PROOFS = {"test_translation", "test_broken_rules", "test_promises"}


def test_every_proof_is_listed_and_nothing_else_is() -> None:
    """A reader who finds a promise in the docs can trust that something checks it."""
    titles = re.findall(r"^### (.+)$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    named = [f"test_{title.lower().replace(' ', '_')}" for title in titles]

    assert [proof.__name__.lower() for module in PROOFS for proof in promises(module)] == named


def test_every_module_of_proofs_is_looked_at() -> None:
    """A new file of proofs is listed too, or named as holding none."""
    here = {path.stem for path in Path(__file__).parent.glob("test_*.py")}

    assert {module.__name__.rpartition(".")[2] for module in PROOFS} | NO_PROOFS == here


def test_the_page_of_promises_is_current() -> None:
    """Written anew it is the same: python -m tests.proofs.write_promises."""
    assert page(knowledge()) == PAGE.read_text(encoding="utf-8")
