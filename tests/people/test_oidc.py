"""Signing in through an identity provider: who it says is in, and nobody by a wrong answer."""

from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from app.people.id_token import Identity, ProviderRefused
from app.people.oidc import (
    Asked,
    ProviderSettings,
    address_to_ask,
    discover,
    identify,
    new_request,
    provider_in,
)
from app.people.outside import LONGEST_ANSWER
from tests.people.provider import CLIENT_ID, NOW, REDIRECT_URI, LocalProvider
from tests.people.visit import ASKED_AT, BACK_AT, refusal, sign_in


def test_who_the_provider_confirms_is_signed_in(provider: LocalProvider) -> None:
    """The key stays the same for ever, while names and addresses change."""
    expected = Identity(
        f"{provider.issuer}|person-5f1c", "Ada Lindqvist", datetime.fromtimestamp(NOW, UTC)
    )

    assert expected == sign_in(provider)


def test_the_request_asks_for_a_fresh_proof_and_gives_no_secret_away(
    provider: LocalProvider,
) -> None:
    """The address goes through the browser: it carries the challenge, not what answers it."""
    asked = new_request()
    address = address_to_ask(provider.settings, discover(provider.settings), asked)
    query = {name: values[0] for name, values in parse_qs(urlsplit(address).query).items()}
    challenge = query.pop("code_challenge")

    assert {
        "response_type": "code",
        "client_id": CLIENT_ID,
        "redirect_uri": REDIRECT_URI,
        "scope": "openid profile",
        "state": asked.state,
        "nonce": asked.nonce,
        "prompt": "login",
        "max_age": "0",
        "code_challenge_method": "S256",
    } == query
    assert 43 == len(challenge)
    assert asked.verifier not in address


def test_no_two_requests_share_a_secret() -> None:
    """An answer to one must not fit another."""
    first, second = new_request(), new_request()
    six = {first.state, first.nonce, first.verifier, second.state, second.nonce, second.verifier}

    assert 6 == len(six)


def test_secrets_do_not_stand_in_a_traceback(provider: LocalProvider) -> None:
    """What is logged after a failure is read by others."""
    asked = new_request()
    shown = repr(asked) + repr(provider.settings)

    assert not any(
        secret in shown
        for secret in (asked.state, asked.nonce, asked.verifier, provider.settings.client_secret)
    )


# ---------------------------------------------------------------- the way back


def test_a_missing_state_is_refused(provider: LocalProvider) -> None:
    """Otherwise somebody's link could sign a browser in as themselves."""
    provider.answer = {"state": None}

    assert "does not belong to a request of this browser" in refusal(provider)


def test_the_state_of_another_browser_is_refused(provider: LocalProvider) -> None:
    """An answer that was caught elsewhere is of no use here."""
    asked, other = new_request(), new_request()
    kept = Asked(other.state, asked.nonce, asked.verifier)

    assert "does not belong to a request of this browser" in refusal(
        provider, asked=asked, kept=kept
    )


def test_a_request_without_secrets_is_our_own_mistake(provider: LocalProvider) -> None:
    """An empty state or nonce would equal what is missing in the answer."""
    found = discover(provider.settings)
    for empty in (Asked("", "b", "c"), Asked("a", "", "c"), Asked("a", "b", "")):
        with pytest.raises(ValueError, match="a request has a state"):
            identify(provider.settings, found, {}, empty, asked_at=ASKED_AT, now=BACK_AT)


def test_an_answer_from_another_issuer_is_refused(provider: LocalProvider) -> None:
    """RFC 9207: with several providers, one must not answer for another."""
    provider.answer = {"iss": "https://elsewhere.example"}

    assert "it comes from another issuer" in refusal(provider)


def test_an_answer_that_names_no_issuer_is_accepted(provider: LocalProvider) -> None:
    """Many providers do not send it, and the ID token names the issuer anyway."""
    provider.answer = {"iss": None}

    assert "Ada Lindqvist" == sign_in(provider).name


def test_a_provider_that_says_it_names_itself_must(provider: LocalProvider) -> None:
    """RFC 9207, section 2.4 (memory): otherwise another one's answer would only leave it out."""
    provider.metadata = {"authorization_response_iss_parameter_supported": True}
    assert "Ada Lindqvist" == sign_in(provider).name
    provider.answer = {"iss": None}

    assert "it comes from another issuer" in refusal(provider)


def test_an_error_of_the_provider_is_told(provider: LocalProvider) -> None:
    """Somebody pressed cancel there; what the provider writes is not repeated."""
    provider.answer = {"code": None, "error": "access_denied", "error_description": "<b>no</b>"}

    assert "The identity provider did not confirm who you are. Try again." == refusal(provider)


def test_a_missing_code_is_refused(provider: LocalProvider) -> None:
    """There is nothing to exchange."""
    provider.answer = {"code": None}

    assert "it has no code" in refusal(provider)


def test_a_code_that_the_provider_does_not_know_is_refused(provider: LocalProvider) -> None:
    """A made-up code signs nobody in."""
    provider.answer = {"code": "made-up"}

    assert "its code is not valid" in refusal(provider)


def test_a_code_counts_once(provider: LocalProvider) -> None:
    """Going back in the browser sends the same answer again."""
    asked, found = new_request(), discover(provider.settings)
    answer = provider.go(address_to_ask(provider.settings, found, asked))
    first = identify(provider.settings, found, answer, asked, asked_at=ASKED_AT, now=BACK_AT)

    with pytest.raises(ProviderRefused, match="its code is not valid"):
        identify(provider.settings, found, answer, asked, asked_at=ASKED_AT, now=BACK_AT)
    assert "Ada Lindqvist" == first.name


def test_a_code_that_another_request_was_given_is_refused(provider: LocalProvider) -> None:
    """PKCE: who catches a code does not have the verifier."""
    asked, other = new_request(), new_request()
    kept = Asked(asked.state, asked.nonce, other.verifier)

    assert "its code is not valid" in refusal(provider, asked=asked, kept=kept)


def test_a_wrong_client_secret_is_refused(provider: LocalProvider) -> None:
    """The clinic mistyped it: nobody is in, and the message does not show it."""
    found, asked = discover(provider.settings), new_request()
    wrong = ProviderSettings(provider.issuer, CLIENT_ID, "mistyped", REDIRECT_URI)
    answer = provider.go(address_to_ask(wrong, found, asked))

    with pytest.raises(ProviderRefused, match="its code is not valid") as refused:
        identify(wrong, found, answer, asked, asked_at=ASKED_AT, now=BACK_AT)
    assert "mistyped" not in refused.value.says


def test_a_provider_that_wants_the_secret_in_the_form_gets_it_there(
    provider: LocalProvider,
) -> None:
    """Some know no other way."""
    provider.metadata = {"token_endpoint_auth_methods_supported": ["client_secret_post"]}

    assert "Ada Lindqvist" == sign_in(provider).name


# ---------------------------------------------------------------- the provider itself


@pytest.mark.parametrize(
    ("metadata", "says"),
    [
        ({"issuer": "https://elsewhere.example"}, "it speaks for another issuer"),
        ({"issuer": None}, "it speaks for another issuer"),
        ({"token_endpoint": None}, "an address is missing"),
        ({"token_endpoint": "http://elsewhere.example/token"}, "an address is missing"),
        ({"jwks_uri": "http://elsewhere.example/keys"}, "an address is missing"),
        ({"jwks_uri": "https://[half"}, "an address is missing"),
        ({"authorization_endpoint": "javascript:alert(1)"}, "an address is missing"),
        ({"authorization_endpoint": 5}, "an address is missing"),
    ],
)
def test_a_provider_that_describes_itself_wrongly_is_refused(
    provider: LocalProvider, metadata: dict[str, Any], says: str
) -> None:
    """Codes, secrets and people are sent to no address that others can read or take over."""
    provider.metadata = metadata

    assert says in refusal(provider)


@pytest.mark.parametrize("part", ["authorization_endpoint", "token_endpoint", "jwks_uri"])
def test_a_provider_elsewhere_has_no_parts_on_this_machine(part: str) -> None:
    """Without https only one for trying out is reached, and that is here as a whole."""
    settings = ProviderSettings("https://login.example", CLIENT_ID, "a secret", REDIRECT_URI)
    names = ("authorization_endpoint", "token_endpoint", "jwks_uri")
    found = {name: f"https://login.example/{name}" for name in names}
    found["issuer"] = "https://login.example"
    assert "https://login.example/jwks_uri" == provider_in(settings, found).jwks_uri

    with pytest.raises(ProviderRefused, match="an address is missing"):
        provider_in(settings, found | {part: "http://127.0.0.1:9000/"})


@pytest.mark.parametrize("filler", ["x" * LONGEST_ANSWER, "deep"])
def test_an_answer_without_end_is_no_answer(provider: LocalProvider, filler: str) -> None:
    """It would fill the memory of the server."""
    provider.metadata = {"filler": filler}
    if filler == "deep":
        provider.metadata = {"jwks_uri": f"{provider.issuer}/deep"}

    assert "The identity provider does not answer. Try again in a moment." == refusal(provider)


@pytest.mark.parametrize("path", ["/elsewhere", "/no-object", "/not-there"])
def test_keys_that_are_not_where_they_should_be_are_no_keys(
    provider: LocalProvider, path: str
) -> None:
    """A redirect could lead to keys of somebody else."""
    provider.metadata = {"jwks_uri": provider.issuer + path}

    assert "The identity provider does not answer. Try again in a moment." == refusal(provider)


def test_keys_of_no_use_are_no_keys(provider: LocalProvider) -> None:
    """An object without keys, as another page of the provider would give."""
    provider.metadata = {"jwks_uri": f"{provider.issuer}/.well-known/openid-configuration"}

    assert "its signature is not valid" in refusal(provider)


def test_a_token_page_that_sends_elsewhere_is_no_token_page(provider: LocalProvider) -> None:
    """Code, verifier and secret would be sent there too."""
    provider.metadata = {"token_endpoint": f"{provider.issuer}/token-elsewhere"}

    assert "The identity provider does not answer. Try again in a moment." == refusal(provider)


def test_a_failing_token_page_is_told(provider: LocalProvider) -> None:
    """The provider has a fault of its own; trying again may work."""
    provider.token_status = 503

    assert "The identity provider does not answer. Try again in a moment." == refusal(provider)


def test_a_provider_that_is_not_there_is_told() -> None:
    """Nobody can sign in through it, and the page says so rather than fail."""
    with LocalProvider().serve() as provider:
        settings = provider.settings

    with pytest.raises(ProviderRefused, match="does not answer"):
        discover(settings)


@pytest.mark.parametrize("issuer", ["http://provider.example", "provider.example", "", "https://"])
def test_a_provider_without_https_cannot_be_set(issuer: str) -> None:
    """Its statements could be changed on the way; only this very machine is exempt."""
    with pytest.raises(ValueError, match="must begin with https://"):
        ProviderSettings(issuer, CLIENT_ID, "a secret", REDIRECT_URI)
