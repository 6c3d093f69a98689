"""How often a password or a link may be guessed at, the same on pages and through the API.

Three counts, so that guessing is hopeless and nobody can lock anybody else out: one address has
its own count on each account and over all, and whoever guesses from many addresses is stopped by
the account's. That last one leaves out the addresses from which its keeper got in lately; from
anywhere else a letter to set a new password opens the account, and a device that is signed in
stays so. Addresses and accounts are counted under keyed digests of them.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, NamedTuple

from django.contrib.auth.password_validation import UserAttributeSimilarityValidator
from django.core.exceptions import ValidationError
from django.utils.crypto import salted_hmac

from scalewitness.domain.errors import Busy, TooManyAttempts
from scalewitness.rate_limit import attempts, forget, note, noted, take_back


class Limit(NamedTuple):
    """So many failed attempts in so many seconds."""

    most: int
    seconds: int


FROM_ADDRESS: Final = Limit(10, 60)
"""From one address, whatever the account."""
ON_ACCOUNT_FROM_ADDRESS: Final = Limit(10, 1800)
"""On one account from one address: below a third of the next, so that no single address uses
that up."""
ON_ACCOUNT: Final = Limit(60, 3600)
"""On one account from all addresses its keeper has not got in from. 60 an hour come to half a
million guesses a year, fewer than passwords that are refused as too common would need (these
three are our judgement)."""
CODES_ON_ACCOUNT: Final = Limit(50, 86_400)
"""Codes of a second factor, from anywhere. Whoever types them has the password already; each
wrong one had three chances in a million, so that fifty a day come to one in twenty a year (our
judgement). Passkeys are not counted: nothing about them can be guessed."""
WRONG_LINKS: Final = Limit(60, 60)
"""Links that open nothing, from one address (our judgement). One that opens something is never
refused: guessing one is hopeless, and keeping a buyer out would cost more."""
KNOWN_FOR: Final = 30 * 86_400
"""Seconds for which an address that got in is its keeper's."""


class NoName(UserAttributeSimilarityValidator):
    """Refuses passwords that are like the keeper's name or address."""

    def __init__(self) -> None:
        super().__init__(user_attributes=("name", "email"))


class NoPieceRepeated:
    """Refuses one character, or one piece, again and again."""

    def validate(self, password: str, user: object = None) -> None:
        if password and password in (password + password)[1:-1]:
            raise ValidationError("The password is one piece again and again.")

    def get_help_text(self) -> str:
        return "Your password can’t be one piece again and again."


def begin(account: str, address: str) -> None:
    """Before a password is looked at. ``account``: as typed, whether or not there is one.

    Raises:
        TooManyAttempts: it is not to be looked at.
    """
    for key, limit in _counts(account, address):
        if attempts(key, limit.seconds) > limit.most:
            raise TooManyAttempts(retry_after=limit.seconds)


def got_in(account: str, address: str) -> None:
    """The password was right: that was no guess, and the address is the keeper's."""
    _take_back(account, address)
    note(_key("known", account, address), KNOWN_FOR)


@contextmanager
def one_try(account: str, address: str) -> Iterator[None]:
    """A try at getting in: whoever leaves the block by an exception did not. It is none where
    there was too much to do to look at the password.

    Raises:
        TooManyAttempts: the block is not entered.
    """
    begin(account, address)
    try:
        yield
    except Busy:
        _take_back(account, address)
        raise
    got_in(account, address)


def one_link_too_many(address: str) -> bool:
    """Counts one more link that opened nothing, on a page or through the API."""
    return attempts(_key("link", address), WRONG_LINKS.seconds) > WRONG_LINKS.most


def code_tried(account: str) -> int:
    """Before a code is looked at; how many over the limit this one is."""
    return max(0, attempts(_key("code", account), CODES_ON_ACCOUNT.seconds) - CODES_ON_ACCOUNT.most)


def code_was_right(account: str) -> None:
    """It was no guess."""
    take_back(_key("code", account), CODES_ON_ACCOUNT.seconds)


def _take_back(account: str, address: str) -> None:
    for key, limit in _counts(account, address):
        take_back(key, limit.seconds)


def start_anew(account: str, address: str) -> None:
    """The keeper set a new password by a letter: earlier guesses are worth nothing."""
    forget(_key("account", account), _key("pair", account, address), _key("code", account))
    note(_key("known", account, address), KNOWN_FOR)


def _counts(account: str, address: str) -> list[tuple[str, Limit]]:
    counts = [
        (_key("address", address), FROM_ADDRESS),
        (_key("pair", account, address), ON_ACCOUNT_FROM_ADDRESS),
    ]
    if not noted(_key("known", account, address)):
        counts.append((_key("account", account), ON_ACCOUNT))
    return counts


def _key(*parts: str) -> str:
    text = "\n".join(part.strip().lower() for part in parts)
    return "guess:" + salted_hmac("scalewitness.guessing", text, algorithm="sha256").hexdigest()
