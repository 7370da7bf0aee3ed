"""The web server: one process or several, until it is stopped."""

import socket
from contextlib import suppress

import uvicorn
from fastapi import FastAPI
from uvicorn.supervisors import Multiprocess

from app.main import create_app, opened
from app.settings import Settings
from app.web.logged import log_config

# What the web server's own command ends with, where it could not start.
NOT_STARTED = 3
# A process that says nothing for so long is replaced, in seconds; drawing a long page takes less.
WORKER_PATIENCE_S = 30


def served_app() -> FastAPI:
    """The program in one of several processes of a server."""
    return create_app(is_served=True)


class Prompt(uvicorn.Config):
    """A server of several processes that sends each answer as soon as it is there.

    Where one process listens, asyncio sees to that. A socket that is handed to several does not say
    that it is TCP, so asyncio leaves it alone, and each answer waits 40 ms for its last packet.
    """

    def bind_socket(self) -> socket.socket:
        """The socket that the processes listen on together."""
        listening = super().bind_socket()
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return listening


def serve(host: str | None = None, port: int | None = None) -> int:
    """Serve until stopped; host and port stand before those of the settings.

    Raises: DemoDatabase, BadDemo; OSError, SQLAlchemyError, where the database cannot be opened.
    """
    settings = Settings()
    app = create_app(settings, is_served=True) if settings.workers == 1 else "app.serve:served_app"
    # Opened here first: what the web server's own start refuses ends in a traceback.
    opened(settings).dispose()
    config = Prompt(
        app,
        # Each of several processes makes the program itself, under the same environment.
        factory=settings.workers > 1,
        workers=settings.workers,
        timeout_worker_healthcheck=WORKER_PATIENCE_S,
        host=settings.host if host is None else host,
        port=settings.port if port is None else port,
        log_config=log_config(settings.log),
        # Our own line says the route instead of the address; who opened what is in the audit.
        access_log=False,
        server_header=False,
    )
    server = uvicorn.Server(config)
    with suppress(KeyboardInterrupt):
        if settings.workers > 1:
            Multiprocess(config, sockets=[config.bind_socket()]).run()
        else:
            server.run()
            if not server.started:
                return NOT_STARTED
    return 0
