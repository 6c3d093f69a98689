"""Naming another keeper in a form: one whom the asker gave access before, or by their address."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django import forms

from scalewitness.pages.parts.picking import people_known
from scalewitness.pages.parts.picks import PickOne, Picks, Source
from scalewitness.people.models import Keeper
from scalewitness.people.queries import verified_keeper

UNKNOWN = "No keeper has confirmed this address to the record."


class NamesSomebody(Picks):
    """``somebody``: whom the valid form names."""

    known = PickOne(required=False, nothing="Somebody else, by their address")
    email = forms.EmailField(
        label="Their address",
        required=False,
        max_length=254,
        help_text="The one they have confirmed to the record.",
    )
    question = "Who?"
    somebody: UUID

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["known"].label = self.question

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if not self.errors.keys() & {"known", "email"}:
            self._name(given.get("known", ""), given["email"])
        return given

    def _name(self, known: str, email: str) -> None:
        found = verified_keeper(email) if email else None
        if known and email and (found is None or str(found.pk) != known):
            self.add_error("email", "You chose somebody else above. Leave out one of them.")
        elif known:
            self.somebody = UUID(known)
        elif not email:
            self.add_error("email", "Give their address, or choose somebody whom you know here.")
        elif found is None:
            self.add_error("email", UNKNOWN)
        else:
            self.somebody = found.pk


def known_people(keeper: Keeper) -> Mapping[str, Source]:
    """Whom the keeper can choose without their address."""
    return {"known": people_known(keeper.pk)}
