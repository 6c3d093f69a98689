"""The account: making one, its ways in, and what it is told."""

from allauth.account.auth_backends import AuthenticationBackend

from scalewitness.people.models import Keeper
from scalewitness.people.queries import account_of


class OneAccount(AuthenticationBackend):
    """An address has one account, so that one password is looked at.

    Here because every session names it by this path: under another, all would be signed out.
    """

    def _authenticate_by_email(self, email: str, password: str) -> Keeper | None:
        keeper = account_of(email.strip().lower())
        return keeper if self._check_password(keeper, password) else None
