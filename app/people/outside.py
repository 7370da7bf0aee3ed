"""JSON from another server: from the address that was asked, no other, and of bounded length."""

import json
from typing import Any
from urllib.parse import urlsplit

import requests

LOOPBACK = ("127.0.0.1", "::1", "localhost")
# How long the other server may say nothing.
TIMEOUT_SECONDS = 10
# Far above what a provider describes itself with, its keys and certificates included (proposal).
LONGEST_ANSWER = 256 * 1024


class NoAnswer(Exception):
    """Nothing came, or nothing of use."""


def ask(method: str, address: str, **how: Any) -> tuple[int, dict[str, Any]]:
    """The status and the JSON object of an answer; a redirect is not followed.

    how: as for requests. Raises: NoAnswer, also where it is no object, or too long.
    """
    held = bytearray()
    try:
        with requests.request(
            method,
            address,
            headers={"Accept": "application/json"},
            timeout=TIMEOUT_SECONDS,
            allow_redirects=False,
            stream=True,
            **how,
        ) as answer:
            for part in answer.iter_content(LONGEST_ANSWER):
                held += part
                if len(held) > LONGEST_ANSWER:
                    raise NoAnswer
        found = json.loads(held)
    except (requests.RequestException, ValueError, RecursionError):
        raise NoAnswer from None
    if not isinstance(found, dict):
        raise NoAnswer
    return answer.status_code, found


def is_safe(address: str, *, or_here: bool = True) -> bool:
    """Whether nobody on the way can read or change it: https, or with or_here this very machine."""
    try:
        parts = urlsplit(address)
        host = parts.hostname
    except ValueError:
        return False
    is_here = or_here and parts.scheme == "http" and host in LOOPBACK
    return bool(host) and (parts.scheme == "https" or is_here)
