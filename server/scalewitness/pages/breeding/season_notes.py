"""Noting what was seen of a pairing."""

from typing import Any

from django import forms

from scalewitness.domain.season.events import COUNTED, COUNTS, Event
from scalewitness.pages.animals.forms import day_field
from scalewitness.pages.parts.facts import FactForm


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


class NoteWithdrawalForm(FactForm):
    """One button. Several stand on a page, hence no element ids."""

    kind = "season_note_withdrawn"

    def __init__(self, *args: Any, noted: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = False
        self.noted = noted

    def body(self) -> dict[str, Any]:
        return {"noted": self.noted}
