"""How long the next try must wait after wrong passwords.

Tries are counted for each account and source (the address that a request comes from). Who guesses
at a colleague's password makes only their own address wait; the colleague, elsewhere, does not.
Nothing is ever locked for good. Source: OWASP ASVS 5.0.0, V6.1.1 and V6.3.1 (read); the numbers are
proposals.
"""

from datetime import datetime, timedelta

# Tries that cost nothing: typing mistakes.
FREE = 5
FIRST_WAIT = timedelta(seconds=2)
# At most 96 tries a day from one address.
LONGEST_WAIT = timedelta(minutes=15)
# So many wrong passwords for one account, wherever from, are an attack from many addresses.
MANY = 100
FREE_UNDER_ATTACK = 1


def wait_before(
    failures: int, last_at: datetime | None, now: datetime, *, everywhere: int = 0
) -> timedelta:
    """How much longer the next try has to wait; zero lets it through.

    failures: wrong passwords from this source since the last right one; last_at: the last of them.
    everywhere: those for the account from all sources together. When they are many, a source has
    one free try instead of five; an address from which nothing wrong came never waits. A clock that
    was set back never makes the wait longer than twice what it was, and one set back by more than
    the wait ends it; the next wrong password counts on from there.
    """
    free = FREE_UNDER_ATTACK if everywhere >= MANY else FREE
    if last_at is None or failures < free:
        return timedelta(0)
    # Ten doublings are past the longest wait; more would only make a number too large for a time.
    whole = min(FIRST_WAIT * (1 << min(failures - free, 10)), LONGEST_WAIT)
    return max(whole - abs(now - last_at), timedelta(0))
