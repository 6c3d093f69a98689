"""A whole clutch checked in one go: what is the same for all, and a row for each hatchling."""

from collections.abc import Mapping
from typing import Any

from django import forms

from scalewitness.domain.choices import (
    CONCLUSIONS,
    HARMS,
    HOLDERS,
    SURENESSES,
    TOLD,
    texts,
)
from scalewitness.domain.methods import EVERTED, MANNERS
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.calls.passes import PassesForm, depth_field, stopped_field
from scalewitness.pages.parts.facts import FactForm

NOT_PROBED = "Not probed"


class TogetherForm(forms.Form):
    to_sign: str | None = None
    """What holds for every hatchling of the sitting. Nothing is answered beforehand."""

    held_by = one_of("Who held the hatchlings?", texts(HOLDERS))
    told = one_of("Had anyone told you their sex before you checked?", texts(TOLD))


class HatchlingForm(FactForm):
    """One hatchling's call; a row left empty says nothing. ``together`` is the sitting's."""

    kind = "call_made"
    method = ""
    seen_fields: tuple[str, ...] = ()
    places = {"/body/identified/code": "code"}  # noqa: RUF012  a mapping nobody writes to

    conclusion = forms.ChoiceField(
        label="Conclusion", choices=(("", "Not checked"), *texts(CONCLUSIONS)), required=False
    )
    sureness = forms.ChoiceField(
        label="How sure", choices=(("", "Not said"), *texts(SURENESSES)), required=False
    )
    code = forms.CharField(label="Tag as read", required=False, max_length=60)
    harm = forms.ChoiceField(
        label="Sign of harm", choices=(("", "None seen"), *texts(HARMS)), required=False
    )

    together: Mapping[str, Any] = {}

    @property
    def empty(self) -> bool:
        """Whether nothing was said of this hatchling."""
        given = self.cleaned_data
        names = ("conclusion", "harm", *self.seen_fields)
        return all(given.get(name) in (None, "") for name in names)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        filled_in = [
            name for name in ("harm", *self.seen_fields) if given.get(name) not in (None, "")
        ]
        if filled_in and not given.get("conclusion"):
            self.add_error("conclusion", "Say what you conclude.")
        if given.get("conclusion") and not given.get("sureness"):
            self.add_error("sureness", "Say how sure you are.")
        return given

    def observed(self) -> dict[str, Any]:
        raise NotImplementedError

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        code = given["code"]
        body = {
            "conclusion": given["conclusion"],
            "sureness": given["sureness"],
            "observed": self.observed(),
            "identified": {"by": "tag", "code": code} if code else {"by": "appearance"},
            "held_by": self.together["held_by"],
        }
        if given["harm"]:
            body["harm"] = [given["harm"]]
        if self.together["told"] != "no":
            body["told"] = self.together["told"]
        return body


class EversionRow(HatchlingForm):
    method = "eversion"
    seen_fields = ("seen",)
    seen = forms.ChoiceField(
        label="Seen", required=False, choices=(("", "Not tried"), *texts(EVERTED))
    )
    manner = forms.ChoiceField(label="How", choices=texts(MANNERS), initial="manual")
    field_order = ("seen", "manner", "conclusion", "sureness", "code", "harm")

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        if given.get("conclusion") and not given.get("seen"):
            self.add_error("seen", "Say what you saw.")
        return given

    def observed(self) -> dict[str, Any]:
        given = self.cleaned_data
        return {"method": "eversion", "manner": given["manner"], "seen": given["seen"]}


class ProbingRow(PassesForm, HatchlingForm):
    """One pass a side; a second one is logged on the animal's own page."""

    method = "probing"
    runs = ("left", "right")
    seen_fields = ("left", "left_stopped", "right", "right_stopped")
    left = depth_field("Left, scales")
    left_stopped = stopped_field("Left stopped by", NOT_PROBED)
    right = depth_field("Right, scales")
    right_stopped = stopped_field("Right stopped by", NOT_PROBED)
    field_order = (*seen_fields, "conclusion", "sureness", "code", "harm")

    def observed(self) -> dict[str, Any]:
        passes = self.passes()
        made = {"passes": passes} if passes else {}
        return {"method": "probing", **made, **self.insisted()}


ROWS: Mapping[str, type[HatchlingForm]] = {"eversion": EversionRow, "probing": ProbingRow}
