"""The command `evenhand`: each module has the commands of one theme; nothing here knows a rule."""

from app.cli.program import main

__all__ = ["main"]
