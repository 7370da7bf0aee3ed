"""A browser that goes to the identity provider and comes back."""

import re
from datetime import UTC, datetime
from html import unescape
from typing import Any

from pydantic import SecretStr
from sqlalchemy import Engine
from sqlmodel import Session, select

from app.settings import Settings
from app.store.accounts import account_named
from app.store.actor import PROGRAM
from app.store.audit_tables import AuditRow
from app.store.engine import writing
from app.store.identities import link_identity
from app.web.provider import provider_path
from tests.people.provider import CLIENT_ID, CLIENT_SECRET, LocalProvider
from tests.web.clinic import COOKIE, Clinic, Member
from tests.web.tables import audit_rows

LABEL = "Harbour Login"
STATE_COOKIE = "__Host-evenhand-provider"


def with_provider(settings: Settings, provider: LocalProvider, address: str) -> Settings:
    """The same settings with the identity provider. address: of the server."""
    given = {
        "address": address,
        "oidc_issuer": provider.issuer,
        "oidc_client_id": CLIENT_ID,
        "oidc_client_secret": SecretStr(CLIENT_SECRET),
        "oidc_label": LABEL,
    }
    return settings.model_copy(update=given)


def link(
    engine: Engine, provider: LocalProvider, member: Member, subject: str = "person-5f1c"
) -> None:
    """Link an account with somebody whom the provider names so."""
    with writing(engine) as session:
        link_identity(
            session,
            id_of(session, member),
            f"{provider.issuer}|{subject}",
            actor=PROGRAM,
            now=datetime.now(UTC),
        )


def id_of(session: Session, member: Member) -> str:
    """The id of somebody's account."""
    held = account_named(session, member.sign_in_name)
    assert held
    return held.id


def start(browser: Clinic, purpose: str = "sign_in", to: str = "") -> str:
    """Press the link to the provider; its address."""
    sent = browser.get(provider_path(purpose, to))
    assert 303 == sent.status_code, sent.text
    return str(sent.headers["location"])


def come_back(browser: Clinic, query: dict[str, str]) -> Any:
    """Come back from the provider, whose page makes a browser leave the strict cookies out."""
    token = browser.token
    if token:
        browser.client.cookies.delete(COOKIE)
    answer = browser.client.get("/provider/back", params=query)
    if token and not browser.token:
        browser.hold(token)
    return answer


def visit(browser: Clinic, provider: LocalProvider, purpose: str = "sign_in", to: str = "") -> Any:
    """Go there and come back."""
    return come_back(browser, provider.go(start(browser, purpose, to)))


def way_on(answer: Any) -> str:
    """Where the page that somebody came back to sends them."""
    assert 200 == answer.status_code, answer.text
    found = re.search(r'http-equiv="refresh" content="0; url=([^"]*)"', answer.text)
    assert found
    return unescape(found[1])


def says(answer: Any) -> str:
    """What the page of a refusal says."""
    found = re.search(r'<p role="alert">([^<]*)</p>', answer.text)
    assert found, answer.text
    return unescape(found[1])


def last_refusal(clinic: Clinic) -> AuditRow:
    """The newest row of the audit, which is a refusal."""
    newest = audit_rows(clinic.app)[-1]
    assert "sign_in_refused" == newest.action
    return newest


def rows_of(session: Session, table: Any) -> list[Any]:
    """Every row of a table."""
    return list(session.exec(select(table)))
