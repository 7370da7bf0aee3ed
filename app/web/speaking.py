"""Every answer in the language of the installation."""

from starlette.types import ASGIApp, Receive, Scope, Send

from app.language.words import speaking


class Speaking:
    """Around everything that answers, so that it holds in the threads that draw the pages too."""

    def __init__(self, app: ASGIApp, language: str) -> None:
        self.app = app
        self.language = language

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer in the language."""
        with speaking(self.language):
            await self.app(scope, receive, send)
