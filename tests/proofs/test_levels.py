"""Everything that could be concluded can be, and the docs show an example of each."""

from app.assess.assessment import LISTED
from app.knowledge.load import knowledge
from tests.proofs import examples
from tests.proofs.claims import Claim, every_claim, fact_of, is_concluded
from tests.proofs.proving import Proofs
from tests.proofs.write_examples import page

# The levels that the rule of a category cannot give, and why.
ONLY_FITS = (
    # The requirement is the one core sign, so that it is never open or in part.
    *("chorea", "myoclonus", "tics", "painful_gait", "orthostatic_tremor"),
    # Listed only where it fits.
    "nothing_abnormal",
)
NO_CAUTIONS = ("upper_motor_neuron", "dystonia", "paratonia")
NOT_GIVEN = {
    *(Claim("category", each, level) for each in ONLY_FITS for level in LISTED[1:]),
    *(Claim("category", each, "fits_with_cautions") for each in NO_CAUTIONS),
}


def test_every_category_reaches_every_level_that_its_rule_allows(proofs: Proofs) -> None:
    """Each category fits, fits with cautions, is in part there and open, in some exam.

    But for those without cautions, and those that ask for nothing but their one core sign.
    """
    claims = [claim for claim in every_claim(proofs.knowledge) if claim.about == "category"]
    never = {claim for claim in claims if not proofs.possible(fact_of(claim, proofs.exam))}

    assert never == NOT_GIVEN


def test_every_warning_can_be_raised_at_every_urgency(proofs: Proofs) -> None:
    """Each warning, each branch of the falls group, each hazard and each contradiction is reached.

    Of tiers and branches the first that holds counts, so that none is hidden by those before it.
    """
    for claim in every_claim(proofs.knowledge):
        if claim.about != "category":
            assert proofs.possible(fact_of(claim, proofs.exam)), claim


def test_the_docs_hold_an_example_of_everything_that_can_be_concluded() -> None:
    """One for each level of each category, each urgency of each warning, and so on."""
    wanted = [claim for claim in every_claim(knowledge()) if claim not in NOT_GIVEN]

    assert list(examples.read()) == wanted


def test_each_example_in_the_docs_is_concluded_and_nothing_in_it_is_to_spare() -> None:
    """The program concludes it, and does not with any one thing less recorded."""
    for claim, exam in examples.read().items():
        assert is_concluded(claim, exam, knowledge()), claim
        for less in examples.with_one_thing_less(exam):
            assert not is_concluded(claim, less, knowledge()), (claim, less)


def test_the_page_of_examples_is_current() -> None:
    """Written anew it is the same: python -m tests.proofs.write_examples."""
    written = examples.PAGE.read_text(encoding="utf-8")

    assert page(examples.read(), knowledge()) == written
