"""Probing as a form asks it: each pass with its side, its depth and how it stopped."""

from decimal import Decimal
from typing import Any, ClassVar

from django import forms

from scalewitness.domain.choices import STOPS, texts
from scalewitness.domain.errors import UnusualDepth
from scalewitness.domain.observations import DEEPEST
from scalewitness.pages.parts.facts import FactForm


def depth_field(label: str) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        required=False,
        min_value=Decimal(0),
        max_value=DEEPEST,
        step_size=Decimal("0.5"),
        widget=forms.NumberInput(attrs={"inputmode": "decimal"}),
        error_messages={"step_size": "Give whole or half scales, such as 8 or 8.5."},
    )


def stopped_field(label: str, unsaid: str = "How did it stop?") -> forms.ChoiceField:
    """``unsaid``: what stands there before anything is chosen."""
    return forms.ChoiceField(label=label, choices=(("", unsaid), *texts(STOPS)), required=False)


class PassesForm(FactForm):
    """Base of forms with a field for each of ``runs`` and one ``…_stopped`` beside it."""

    runs: ClassVar[tuple[str, ...]] = ()
    unusual = forms.BooleanField(label="It did go that deep: I counted again", required=False)

    def asks_again(self) -> bool:
        """Whether a depth was refused as unusual, or is insisted on already."""
        return self.refused_as == UnusualDepth.code or bool(self["unusual"].value())

    def visible_fields(self) -> list[forms.BoundField]:
        again = self.asks_again()
        return [one for one in super().visible_fields() if again or one.name != "unusual"]

    def insisted(self) -> dict[str, bool]:
        return {"unusual": True} if self.cleaned_data["unusual"] else {}

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        for run in self.runs:
            depth, stopped = given.get(run), given.get(f"{run}_stopped")
            if depth is not None and not stopped:
                self.add_error(f"{run}_stopped", "Say how this pass stopped.")
            if depth is None and stopped in {"resistance", "choice"} and run not in self.errors:
                self.add_error(run, "Say how deep it went.")
        return given

    def passes(self) -> list[dict[str, str]]:
        """The passes made, as a call gives them."""
        return [self._pass(run) for run in self._runs_made()]

    def _runs_made(self) -> list[str]:
        return [run for run in self.runs if self.cleaned_data[f"{run}_stopped"]]

    def _pass(self, run: str) -> dict[str, str]:
        depth = self.cleaned_data[run]
        return {
            "side": run.removesuffix("_again"),
            "depth": plain(depth if depth is not None else Decimal(0)),
            "stopped": self.cleaned_data[f"{run}_stopped"],
        }

    def _field_at(self, pointer: str) -> str | None:
        before, _, place = pointer.partition("/body/observed/passes/")
        if not before and place:
            return self._runs_made()[int(place.split("/")[0])]
        return super()._field_at(pointer)


def plain(value: Decimal) -> str:
    """8.50 as 8.5 and 8.0 as 8: the one spelling the log knows."""
    return f"{value.normalize():f}"
