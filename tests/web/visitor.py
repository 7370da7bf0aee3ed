"""Somebody at a screen, with a real browser that notes every broken promise."""

from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, expect

from app.people.tokens import form_token
from tests.web.clinic import COOKIE, PASSWORD, PERSON, TOKEN_HEADER, Member, id_in


@dataclass
class Visitor:
    """One browser window.

    token: of the sign-in that it holds.
    broken_promises: script errors, breaches of the content security policy, requests to anywhere
    else, and answers that say something went wrong in the program.
    """

    page: Page
    context: BrowserContext
    address: str
    token: str = ""
    broken_promises: list[str] = field(default_factory=list)
    expects_no_answer: bool = False

    @classmethod
    def at(
        cls, browser: Browser, address: str, contexts: list[BrowserContext], **options: Any
    ) -> "Visitor":
        """Open a window."""
        options = {"viewport": {"width": 1280, "height": 768}} | options
        context = browser.new_context(base_url=address, **options)
        contexts.append(context)
        context.set_default_timeout(10_000)
        visitor = cls(context.new_page(), context, address)
        context.on("request", visitor._requested)
        context.on("response", visitor._answered)
        context.on("console", visitor._said)
        context.on("weberror", lambda error: visitor.broken_promises.append(str(error.error)))
        return visitor

    def _requested(self, request: Request) -> None:
        if not request.url.startswith((self.address, "blob:", "about:")):
            self.broken_promises.append(f"asked {request.url}")

    def _answered(self, response: Any) -> None:
        if response.status >= 500:
            self.broken_promises.append(f"{response.status} from {response.url}")

    def _said(self, message: ConsoleMessage) -> None:
        # Chromium logs every answer of 400 and more, also the ones that a test asks for; htmx
        # logs that a screen is locked.
        expected = message.text.startswith(
            (
                "Failed to load resource: the server responded with",
                "Response Status Error Code 401 from",
            )
        )
        if self.expects_no_answer:
            expected = True
        if message.type in ("error", "warning") and not expected:
            self.broken_promises.append(f"console: {message.text}")

    def hold(self, token: str) -> None:
        """Put a sign-in into the browser, as the answer of the server does."""
        self.token = token
        self.context.add_cookies(
            [
                {
                    "name": COOKIE,
                    "value": token,
                    # Of a cookie with this prefix Chromium asks that it comes over https.
                    "url": self.address.replace("http:", "https:"),
                    "secure": True,
                    "httpOnly": True,
                    "sameSite": "Strict",
                }
            ]
        )

    def sign_in(self, member: Member) -> None:
        """Sign somebody in through the page."""
        self.page.goto("/sign-in")
        self.page.get_by_label("Sign-in name").fill(member.sign_in_name)
        self.page.get_by_label("Password", exact=True).fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()
        expect(self.page.locator(".me-name")).to_contain_text(member.name)
        self.token = next(
            held["value"] for held in self.context.cookies() if held["name"] == COOKIE
        )

    def change_to(self, member: Member) -> None:
        """Make room for somebody else, as at a shared computer."""
        self.page.locator(".me").get_by_role("button", name="Somebody else").click()
        expect(self.page.get_by_role("heading", name="Sign in")).to_be_visible()
        self.sign_in(member)

    def start_exam(self, **changed: str) -> str:
        """A new patient; the sheet is open afterwards. The exam's id."""
        answer = self.context.request.post(
            "/patients/new",
            form={**PERSON, **changed},
            headers={TOKEN_HEADER: form_token(self.token)},
            max_redirects=0,
        )
        assert 303 == answer.status, answer.text()
        self.page.goto(answer.headers["location"])
        expect(self.page.locator("#sheet")).to_be_visible()
        # Its scripts answer keys and arrange the folds once the page has loaded.
        self.page.wait_for_load_state()
        return id_in(self.page.url)

    def answer(self, cell: str, answer: str) -> None:
        """Choose an answer of a cell by its accessible name."""
        self.page.get_by_role("group", name=cell, exact=True).get_by_role(
            "radio", name=answer
        ).check()

    def expect_saved(self) -> None:
        """Wait until everything that was entered is saved."""
        expect(self.page.locator("[data-state]")).to_have_count(0)
        expect(self.page.locator("#save-status")).to_contain_text("saved ")
        expect(self.page.locator("#save-status .not-saved")).to_have_count(0)
