"""Noting what was seen of a pairing."""

from typing import Any
from uuid import UUID

from django import forms

from scalewitness.domain.season.events import COUNTED, COUNTS, Event
from scalewitness.pages.animals.forms import day_field
from scalewitness.pages.parts.facts import FactForm, StepForm


class SeasonNoteForm(FactForm):
    """One event of a pairing on a day; what nobody counted stays empty."""

    kind = "season_noted"

    on = day_field("On which day")

    def __init__(self, *args: Any, what: Event, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.what = what
        for name in COUNTED.get(what, ()):
            self.fields[name] = _field(name)

    def body(self) -> dict[str, Any]:
        given = {name: self.cleaned_data[name] for name in COUNTED.get(self.what, ())}
        if given.get("celsius") is not None:
            given["celsius"] = f"{given['celsius']:.1f}"
        counted = {name: value for name, value in given.items() if value is not None}
        return {"what": self.what, "on": self.cleaned_data["on"].isoformat(), **counted}


def _field(name: str) -> forms.Field:
    more: dict[str, Any] = {"label": COUNTS[name], "required": False}
    if name == "celsius":
        return forms.DecimalField(min_value=10, max_value=49, decimal_places=1, **more)
    return forms.IntegerField(min_value=0, max_value=200, **more)


class NoteWithdrawalForm(StepForm):
    """One button beside a note."""

    def __init__(self, noted: UUID, *args: Any, **kwargs: Any) -> None:
        super().__init__("season_note_withdrawn", *args, **kwargs)
        self.noted = noted

    def body(self) -> dict[str, Any]:
        return {"noted": str(self.noted)}
