"""Which animals travelled together, and when."""

from datetime import UTC, datetime

from django import forms
from django.utils.functional import lazy

from scalewitness.pages.guards.habits import in_zone
from scalewitness.pages.parts.picks import Picks, PickSome
from scalewitness.standings.queries.swaps import FEWEST, MOST


class TravellersForm(Picks):
    """Asks and records nothing, so it is sent openly and can be linked to."""

    animals = PickSome(
        label="Which animals moved together?",
        help_text=f"From {FEWEST} to {MOST}. Labels can only be mixed up within a species.",
    )
    moved_at = forms.DateTimeField(
        label=lazy(in_zone, str)("When did they move?"),
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text=(
            "If left empty: their last move between collections, or else just before the first "
            "call that contradicts an earlier one or read another animal’s transponder."
        ),
    )

    def clean_animals(self) -> list[str]:
        chosen: list[str] = self.cleaned_data["animals"]
        if not FEWEST <= len(chosen) <= MOST:
            raise forms.ValidationError(f"Choose from {FEWEST} to {MOST} animals.")
        return chosen

    def moment(self) -> datetime | None:
        found: datetime | None = self.cleaned_data["moved_at"]
        return found.astimezone(UTC) if found else None
