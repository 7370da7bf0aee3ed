"""The ID token: nobody is signed in by one that is forged, stale, or meant for somebody else."""

from datetime import UTC, datetime, timedelta
from itertools import product
from typing import Any

import pytest

from tests.people.provider import (
    ACCESS_TOKEN,
    CLIENT_ID,
    NOW,
    LocalProvider,
    ec_key,
    hash_of_access_token,
    rsa_key,
    signed_with_the_public_key,
    unsigned,
)
from tests.people.visit import refusal, sign_in

MINUTE = 60


def test_a_wrong_nonce_is_refused(provider: LocalProvider) -> None:
    """A statement that was made for another request is not for this one."""
    provider.claims = {"nonce": "another"}

    assert "nonce is missing or wrong" in refusal(provider)


def test_a_missing_nonce_is_refused(provider: LocalProvider) -> None:
    """Leaving it out must not be a way around it."""
    provider.claims = {"nonce": None}

    assert "nonce is missing or wrong" in refusal(provider)


@pytest.mark.parametrize(
    "audience", ["another-program", ["another-program"], [], [CLIENT_ID, 5], 5, "", None]
)
def test_a_wrong_aud_is_refused(provider: LocalProvider, audience: Any) -> None:
    """Another program's statement, passed on by it, signs nobody in here."""
    provider.claims = {"aud": audience}

    assert "aud is missing or wrong" in refusal(provider)


@pytest.mark.parametrize("party", [None, CLIENT_ID])
def test_a_token_for_several_programs_is_refused(
    provider: LocalProvider, party: str | None
) -> None:
    """Each of the others could pass it on, whoever it says it was issued to."""
    provider.claims = {"aud": [CLIENT_ID, "another-program"], "azp": party}

    assert "is missing or wrong" in refusal(provider)


def test_an_aud_that_is_a_list_of_this_program_alone_is_accepted(provider: LocalProvider) -> None:
    """The standard allows either way of writing it."""
    provider.claims = {"aud": [CLIENT_ID]}

    assert "Ada Lindqvist" == sign_in(provider).name


def test_a_wrong_azp_is_refused(provider: LocalProvider) -> None:
    """It was issued to another program."""
    provider.claims = {"azp": "another-program"}

    assert "azp is missing or wrong" in refusal(provider)


def test_a_token_that_belongs_to_another_access_token_is_refused(provider: LocalProvider) -> None:
    """A provider that says to which one it belongs must be right."""
    provider.claims = {"at_hash": hash_of_access_token("another")}

    assert "at_hash is missing or wrong" in refusal(provider)
    provider.claims = {"at_hash": ["a"]}

    assert "a claim is no value" in refusal(provider)
    provider.claims = {"at_hash": hash_of_access_token(ACCESS_TOKEN)}

    assert "Ada Lindqvist" == sign_in(provider).name


@pytest.mark.parametrize("issuer", ["https://elsewhere.example", "", 5, None])
def test_a_wrong_iss_is_refused(provider: LocalProvider, issuer: Any) -> None:
    """The same subject means somebody else at another provider."""
    provider.claims = {"iss": issuer}

    assert "iss is missing or wrong" in refusal(provider)


def test_an_expired_token_is_refused(provider: LocalProvider) -> None:
    """Five minutes and the minute by which clocks may differ are over."""
    too_late = datetime.fromtimestamp(NOW + 5 * MINUTE + MINUTE, UTC)

    assert "it is out of date" in refusal(provider, now=too_late)
    assert "Ada Lindqvist" == sign_in(provider, now=too_late - timedelta(seconds=1)).name


@pytest.mark.parametrize(
    ("claim", "held"),
    [
        *product(("exp", "iat", "auth_time"), (None, "soon", True, [], "")),
        *product(("exp", "iat"), (float("nan"),)),
        *product(("sub",), (None, 5, True, [], "")),
    ],
)
def test_a_claim_that_is_missing_or_no_value_is_refused(
    provider: LocalProvider, claim: str, held: Any
) -> None:
    """Nothing is guessed in place of what the provider should have said."""
    provider.claims = {claim: held}

    assert f"{claim} is missing or wrong" in refusal(provider)


@pytest.mark.parametrize("subject", ["x" * 256, "line\nbreak", "nul\x00"])
def test_a_subject_that_cannot_be_kept_is_refused(provider: LocalProvider, subject: str) -> None:
    """It becomes the key of an account."""
    provider.subject = subject

    assert "sub is missing or wrong" in refusal(provider)


def test_a_token_from_the_future_is_refused(provider: LocalProvider) -> None:
    """The clocks differ by more than a minute; somebody has to look at them."""
    provider.claims = {"iat": NOW + 3 * MINUTE}

    assert "iat is missing or wrong" in refusal(provider)


def test_a_stale_auth_time_is_refused(provider: LocalProvider) -> None:
    """The provider remembered whoever used this computer before, and asked nobody."""
    provider.claims = {"auth_time": NOW - 20 - MINUTE - 1}

    assert "you did not sign in there just now" in refusal(provider)


def test_an_auth_time_within_the_difference_of_the_clocks_is_accepted(
    provider: LocalProvider,
) -> None:
    """The provider's clock may be a minute behind."""
    provider.claims = {"auth_time": NOW - 20 - MINUTE}

    assert datetime.fromtimestamp(NOW - 20 - MINUTE, UTC) == sign_in(provider).auth_time


@pytest.mark.parametrize("time", [NOW + 3 * MINUTE, 10**400, float("inf"), float("nan")])
def test_an_auth_time_from_the_future_is_refused(provider: LocalProvider, time: float) -> None:
    """It would count as fresh for as long as it is ahead."""
    provider.claims = {"auth_time": time}

    assert "you did not sign in there just now" in refusal(provider)


@pytest.mark.parametrize("name", [None, "", 5, "line\nbreak"])
def test_a_name_that_cannot_be_shown_is_left_out(provider: LocalProvider, name: Any) -> None:
    """Names are the clinic's to write; who it is does not hang on this one."""
    provider.claims = {"name": name}

    assert "" == sign_in(provider).name


# ---------------------------------------------------------------- the signature


def test_a_token_signed_with_another_key_is_refused(provider: LocalProvider) -> None:
    """It bears the provider's key id and was signed by somebody else."""
    provider.key = rsa_key("second")

    assert "its signature is not valid" in refusal(provider)


def test_a_token_that_brings_its_own_key_is_refused(provider: LocalProvider) -> None:
    """Anybody can make a key, and write it beside what was signed with it."""
    provider.key, own = rsa_key("second"), rsa_key("second").as_dict(private=False)
    provider.header = {"alg": "RS256", "kid": "first", "jwk": own}
    provider.id_token = provider.signed_as_it_is

    assert "its signature is not valid" in refusal(provider)


def test_a_token_of_a_key_that_is_not_published_is_refused(provider: LocalProvider) -> None:
    """A key that the provider has withdrawn signs no more."""
    provider.key, provider.header = rsa_key("second"), {"alg": "RS256", "kid": "second"}

    assert "its signature is not valid" in refusal(provider)


def test_a_token_without_a_signature_is_refused(provider: LocalProvider) -> None:
    """With alg "none" anybody could write one."""
    provider.id_token = unsigned

    assert "its signature is not valid" in refusal(provider)


def test_a_token_whose_secret_is_the_public_key_is_refused(provider: LocalProvider) -> None:
    """With a shared-secret alg, a checker that takes the public key for the secret is fooled."""
    provider.id_token = signed_with_the_public_key

    assert "its signature is not valid" in refusal(provider)


def test_a_token_that_was_changed_is_refused(provider: LocalProvider) -> None:
    """One claim after signing, all else untouched."""

    def change(claims: dict[str, Any]) -> str:
        header, _, signature = provider.signed(claims).split(".")
        forged = unsigned(claims | {"sub": "somebody-else"}).split(".")[1]
        return f"{header}.{forged}.{signature}"

    provider.id_token = change

    assert "its signature is not valid" in refusal(provider)


@pytest.mark.parametrize(
    "token", [None, "", "a.b", "a.b.c", "....", "é.é.é", "bnVsbA.bnVsbA.bnVsbA", 5, ["a"], {"a": 1}]
)
def test_what_is_no_token_is_refused(provider: LocalProvider, token: Any) -> None:
    """Whatever comes, the answer is a refusal and never a failure of the page."""
    provider.id_token = lambda _: token

    assert "its signature is not valid" in refusal(provider)


def test_a_header_field_that_nobody_knows_is_ignored_unless_it_is_critical(
    provider: LocalProvider,
) -> None:
    """RFC 7515 (memory): providers add fields of their own, and say which must be understood."""
    provider.header = {"alg": "RS256", "kid": "first", "of_its_own": "x"}

    assert "Ada Lindqvist" == sign_in(provider).name
    provider.header = provider.header | {"crit": ["of_its_own"]}
    provider.id_token = provider.signed_as_it_is

    assert "its signature is not valid" in refusal(provider)


def test_a_provider_may_change_its_key(provider: LocalProvider) -> None:
    """Keys are asked for each time, so a new one counts at once; other kinds of key do too."""
    provider.published = [rsa_key("first"), ec_key("third")]
    provider.key, provider.header = ec_key("third"), {"alg": "ES256", "kid": "third"}

    assert "Ada Lindqvist" == sign_in(provider).name
