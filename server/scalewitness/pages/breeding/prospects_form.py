"""Asking for a pairing's prospects: with whom, for when, and how many young."""

from typing import Any
from uuid import UUID

from django import forms

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animal_of
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.parts.picks import PickOne, Picks


class ProspectsForm(Picks):
    """Nothing of it is recorded."""

    cross = forms.BooleanField(
        label="A cross: then find animals of other species too", required=False
    )
    mate = PickOne(label="Together with", help_text="Any animal that you may see whole.")
    season = forms.IntegerField(
        label="For the season", min_value=1990, max_value=9000, required=False,
        help_text="The year in which the young are expected to hatch.",
    )  # fmt: skip
    eggs = forms.IntegerField(
        label="Eggs, or young born", min_value=1, max_value=120, required=False,
        help_text="If left out: as many as are published of the species.",
    )  # fmt: skip
    least = forms.IntegerField(
        label="Of what is wanted, at least", min_value=1, max_value=120, required=False
    )

    def __init__(self, *args: Any, animal: Animal, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.animal = animal

    def clean(self) -> dict[str, Any]:
        """One of another species is a slip unless one says that it is none."""
        given: dict[str, Any] = super().clean() or {}
        mate = animal_of(UUID(given["mate"])) if given.get("mate") else None
        if mate and mate.species != self.animal.species and not given.get("cross"):
            other = taxon(mate.species).common
            self.add_error("mate", f"It is a {other}. If you mean to cross them, say so above.")
        return given
