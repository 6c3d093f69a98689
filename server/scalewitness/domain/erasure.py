"""What stands in the place of personal data that was erased."""

from typing import Final
from uuid import UUID

ERASED_NAME: Final = "someone whose name was erased"
_DOMAIN: Final = "@erased.invalid"
"""``.invalid`` never resolves (RFC 2606), so no letter can reach a stranger."""


def erased_address(person: UUID) -> str:
    """One for each person, since an account's address must be its own."""
    return f"{person}{_DOMAIN}"


def is_erased(address: str) -> bool:
    return address.endswith(_DOMAIN)
