"""Planning a pairing."""

from typing import Any
from uuid import UUID

from django import forms

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animal_of
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.pages.parts.picks import PickOne, Picks

ROLES = (("sire", "As the male"), ("dam", "As the female"))


class PairingForm(Picks, FactForm):
    """One animal is known; the other is picked, and which of them is planned as what."""

    kind = "pairing_planned"

    pairing = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    role = one_of("What is it planned as?", ROLES)
    cross = forms.BooleanField(
        label="A cross: then find animals of other species too", required=False
    )
    mate = PickOne(
        label="Together with",
        help_text="Of its species, old enough, and not verified to be of the sex that this one is "
        "planned as.",
    )
    season = forms.IntegerField(
        label="For the season", help_text="The year in which the young are expected to hatch."
    )

    def __init__(self, *args: Any, animal: Animal, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.animal = animal

    def clean(self) -> dict[str, Any]:
        """One of another species is a slip unless its keeper says that it is none."""
        given: dict[str, Any] = super().clean() or {}
        mate = animal_of(UUID(given["mate"])) if given.get("mate") else None
        if mate and mate.species != self.animal.species and not given.get("cross"):
            self.add_error(
                "mate",
                f"It is a {taxon(mate.species).common}, the other a "
                f"{taxon(self.animal.species).common}. If you mean to cross them, say so above.",
            )
        return given

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        mate = "dam" if given["role"] == "sire" else "sire"
        pair = {given["role"]: str(self.animal.pk), mate: given["mate"]}
        return pair | {"season": given["season"]}

    def _field_at(self, pointer: str) -> str | None:
        if pointer in {"/body/sire", "/body/dam"}:
            return "mate"
        return super()._field_at(pointer)
