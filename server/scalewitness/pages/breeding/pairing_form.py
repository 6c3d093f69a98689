"""Planning a pairing."""

from typing import Any
from uuid import UUID

from django import forms

from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.pages.parts.picks import PickOne, Picks

ROLES = (("sire", "As the male"), ("dam", "As the female"))


class PairingForm(Picks, FactForm):
    """One animal is known; the other is picked, and which of them is planned as what."""

    kind = "pairing_planned"

    pairing = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    role = one_of("What is it planned as?", ROLES)
    mate = PickOne(
        label="Together with",
        help_text="Of its species, old enough, and not verified to be of the sex that this one is "
        "planned as.",
    )
    season = forms.IntegerField(
        label="For the season", help_text="The year in which the young are expected to hatch."
    )

    def __init__(self, *args: Any, animal: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.animal = animal

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        mate = "dam" if given["role"] == "sire" else "sire"
        pair = {given["role"]: str(self.animal), mate: given["mate"]}
        return pair | {"season": given["season"]}

    def _field_at(self, pointer: str) -> str | None:
        if pointer in {"/body/sire", "/body/dam"}:
            return "mate"
        return super()._field_at(pointer)
