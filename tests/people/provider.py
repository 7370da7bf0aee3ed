"""An identity provider on this machine, with keys of its own, that can be told to answer wrongly.

    with LocalProvider().serve() as provider: ...

It asks nobody for a password: whoever comes is `subject`, at once, or with `shows_page` after a
press of its link. The rest it does as a provider must: a
code counts once, for the program that asked, with the right secret and the right verifier.
"""

import base64
import hashlib
import hmac
import json
import secrets
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from html import escape
from time import time
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode, urlsplit

import requests
import uvicorn
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from fastapi import FastAPI, Form, Header, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from joserfc import jwt
from joserfc.jwk import ECKey, KeySet, RSAKey
from joserfc.jws import JWSRegistry

from app.people.oidc import ProviderSettings

CLIENT_ID = "evenhand-at-harbour"
CLIENT_SECRET = "a secret: of/the clinic"
REDIRECT_URI = "https://evenhand.example/provider/back"
ACCESS_TOKEN = "opaque"
NOW = 1_772_625_610


@cache
def rsa_key(kid: str) -> RSAKey:
    """A key pair, made once for all tests."""
    return RSAKey.generate_key(2048, {"kid": kid, "use": "sig"})


@cache
def ec_key(kid: str) -> ECKey:
    """A key pair of the other kind."""
    return ECKey.generate_key("P-256", {"kid": kid, "use": "sig"})


@dataclass
class LocalProvider:
    """What it says, and what of it is changed for a test.

    claims, metadata, answer: values put in place of the true ones; None leaves one out. id_token:
    makes the token out of the claims, in place of `signed`. now: what its clock says; None where
    that is the time of this machine. redirect_uri: the only place that it sends anybody back to.
    """

    subject: str = "person-5f1c"
    now: int | None = NOW
    redirect_uri: str = REDIRECT_URI
    shows_page: bool = False
    key: RSAKey | ECKey = field(default_factory=lambda: rsa_key("first"))
    header: dict[str, Any] = field(default_factory=lambda: {"alg": "RS256", "kid": "first"})
    published: list[RSAKey | ECKey] = field(default_factory=lambda: [rsa_key("first")])
    claims: dict[str, Any] = field(default_factory=dict)
    metadata: dict[str, Any] = field(default_factory=dict)
    answer: dict[str, Any] = field(default_factory=dict)
    id_token: Callable[[dict[str, Any]], Any] | None = None
    issuer: str = ""
    token_status: int = 200
    asked: list[dict[str, str]] = field(default_factory=list)
    _codes: dict[str, dict[str, str]] = field(default_factory=dict)

    def be_honest(self) -> None:
        """Forget every change, and stay where it is."""
        vars(self).update(vars(LocalProvider(issuer=self.issuer)))

    @property
    def settings(self) -> ProviderSettings:
        """How the clinic has written it down."""
        return ProviderSettings(self.issuer, CLIENT_ID, CLIENT_SECRET, self.redirect_uri)

    @contextmanager
    def serve(self, name: str = "127.0.0.1") -> Iterator["LocalProvider"]:
        """Answer on a free port of this machine. name: what it is called in its address."""
        with socket.socket() as listening:
            listening.bind(("127.0.0.1", 0))
            # From here on whoever connects is kept waiting until the server is there.
            listening.listen()
            self.issuer = f"http://{name}:{listening.getsockname()[1]}"
            config = uvicorn.Config(
                self._program(), log_config=None, access_log=False, ws="none", lifespan="off"
            )
            server = uvicorn.Server(config)
            serving = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
            serving.start()
            try:
                yield self
            finally:
                server.should_exit = True
                serving.join(timeout=30)

    def go(self, address: str) -> dict[str, str]:
        """Follow an address there as a browser does; what the browser comes back with."""
        sent = requests.get(address, allow_redirects=False, timeout=10)
        back = urlsplit(sent.headers["Location"])
        assert self.redirect_uri == f"{back.scheme}://{back.netloc}{back.path}"
        return _changed(dict(parse_qsl(back.query)), self.answer)

    def true_claims(self, nonce: str) -> dict[str, Any]:
        """What an honest ID token holds."""
        now = int(time()) if self.now is None else self.now
        return {
            "iss": self.issuer,
            "sub": self.subject,
            "aud": CLIENT_ID,
            "iat": now,
            "exp": now + 300,
            "auth_time": now,
            "nonce": nonce,
            "name": "Ada Lindqvist",
        }

    def signed(self, claims: dict[str, Any]) -> str:
        """A token with these claims, signed with the key."""
        rules = JWSRegistry(algorithms=[self.header["alg"]], strict_check_header=False)
        return jwt.encode(self.header, claims, self.key, registry=rules)

    def signed_as_it_is(self, claims: dict[str, Any]) -> str:
        """The same by hand (RSA with SHA-256), also with a header that a library will not write."""
        signed = f"{_part(self.header)}.{_part(claims)}"
        key = self.key.private_key
        assert isinstance(key, RSAPrivateKey)
        return f"{signed}.{_base64(key.sign(signed.encode(), PKCS1v15(), SHA256()))}"

    def _program(self) -> FastAPI:
        program = FastAPI()

        @program.get("/.well-known/openid-configuration")
        def configuration() -> dict[str, Any]:
            true = {
                "issuer": self.issuer,
                "authorization_endpoint": f"{self.issuer}/authorize",
                "token_endpoint": f"{self.issuer}/token",
                "jwks_uri": f"{self.issuer}/keys",
                "token_endpoint_auth_methods_supported": ["client_secret_basic"],
            }
            return _changed(true, self.metadata)

        @program.get("/elsewhere")
        def elsewhere() -> RedirectResponse:
            return RedirectResponse(f"{self.issuer}/keys")

        @program.get("/no-object")
        def no_object() -> list[str]:
            return []

        @program.get("/deep")
        def deep() -> Response:
            return Response("[" * 100_000, media_type="application/json")

        @program.post("/token-elsewhere")
        def token_elsewhere() -> RedirectResponse:
            return RedirectResponse(f"{self.issuer}/token", 307)

        @program.get("/keys")
        def keys() -> Any:
            return KeySet(list(self.published)).as_dict(private=False)

        @program.get("/authorize")
        def authorize(request: Request) -> Response:
            asked = dict(request.query_params)
            self.asked.append(asked)
            code = secrets.token_urlsafe(16)
            self._codes[code] = asked
            back = urlencode({"code": code, "state": asked["state"], "iss": self.issuer})
            address = f"{asked['redirect_uri']}?{back}"
            if self.shows_page:
                return HTMLResponse(f'<a href="{escape(address)}">It is me</a>')
            return RedirectResponse(address, status_code=302)

        @program.post("/token")
        def token(
            grant_type: Annotated[str, Form()],
            code: Annotated[str, Form()],
            redirect_uri: Annotated[str, Form()],
            code_verifier: Annotated[str, Form()],
            client_id: Annotated[str, Form()] = "",
            client_secret: Annotated[str, Form()] = "",
            authorization: Annotated[str, Header()] = "",
        ) -> JSONResponse:
            by_form = _basic(client_id, client_secret) if client_id else authorization
            if by_form != _basic(CLIENT_ID, CLIENT_SECRET):
                return JSONResponse({"error": "invalid_client"}, 401)
            asked = self._codes.pop(code, None)
            if (
                asked is None
                or grant_type != "authorization_code"
                or redirect_uri != asked["redirect_uri"]
                or _challenge(code_verifier) != asked["code_challenge"]
            ):
                return JSONResponse({"error": "invalid_grant"}, 400)
            return JSONResponse(self._token(asked["nonce"]), self.token_status)

        return program

    def _token(self, nonce: str) -> dict[str, Any]:
        claims = _changed(self.true_claims(nonce), self.claims)
        make = self.id_token or self.signed
        return {"access_token": ACCESS_TOKEN, "token_type": "Bearer", "id_token": make(claims)}


def unsigned(claims: dict[str, Any]) -> str:
    """An ID token that says of itself that it needs no signature."""
    return f"{_part({'alg': 'none'})}.{_part(claims)}."


def hash_of_access_token(access_token: str) -> str:
    """The claim at_hash for SHA-256: the left half of the hash (OpenID Connect Core, 3.1.3.6)."""
    return _base64(hashlib.sha256(access_token.encode()).digest()[:16])


def signed_with_the_public_key(claims: dict[str, Any]) -> str:
    """An ID token whose shared secret is the provider's public key, which everybody has."""
    signed = f"{_part({'alg': 'HS256', 'kid': 'first'})}.{_part(claims)}"
    public = rsa_key("first").as_pem(private=False)
    return f"{signed}.{_base64(hmac.digest(public, signed.encode(), 'sha256'))}"


def _part(held: dict[str, Any]) -> str:
    return _base64(json.dumps(held).encode())


def _base64(held: bytes) -> str:
    return base64.urlsafe_b64encode(held).rstrip(b"=").decode()


def _challenge(verifier: str) -> str:
    return _base64(hashlib.sha256(verifier.encode()).digest())


def _basic(client_id: str, client_secret: str) -> str:
    return "Basic " + base64.b64encode(f"{client_id}:{client_secret}".encode()).decode()


def _changed(true: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    return {name: held for name, held in (true | changes).items() if held is not None}
