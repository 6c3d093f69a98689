"""Drafting a sale, offering, and the buyer's answers."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from typing import Any

import msgspec
from django import forms
from django.utils import timezone

from scalewitness.domain.facts import Representation
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.sales import DAYS_TO_PAY
from scalewitness.pages.animals.forms import day_field
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, StepForm, new_id, note
from scalewitness.pages.parts.picks import Picks, PickSome
from scalewitness.sales.models import Sale

UUIDS = r"^[0-9a-f-]{36}( [0-9a-f-]{36})?$"
REMEDIES = (
    ("refund", "The price is refunded"),
    ("exchange", "The animal is exchanged"),
    ("refund_or_exchange", "Refund or exchange, as the buyer chooses"),
    ("to_be_agreed", "To be agreed when it comes to that"),
    ("none", "None"),
)


class DraftForm(Picks):
    """Who buys what. Nothing is offered yet and nobody is told."""

    sale = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    buyer_name = forms.CharField(label="The buyer's name", max_length=80)
    buyer_email = forms.EmailField(
        label="The buyer's address",
        max_length=254,
        help_text="The offer, and any later disclosure, goes there.",
    )
    animals = PickSome(label="Which animals?")
    by_code = forms.BooleanField(
        label="Ask for a code with the confirmation",
        required=False,
        help_text="Then the buyer confirms only with six digits from a second letter, which "
        "shows that it is their mailbox and not only their link.",
    )


class AddressForm(forms.Form):
    """Where the buyer's letters go from now on."""

    email = forms.EmailField(
        label="Send letters to",
        max_length=254,
        help_text="Whoever reads the address used until now is told.",
    )


class OfferForm(FactForm):
    """The offer as its seller saw the record when the form was shown; the record refuses it
    if it has moved since."""

    kind = "offer_made"

    represents = forms.CharField(widget=forms.HiddenInput)
    recheck_days = forms.IntegerField(
        label="Days the buyer may take to have the sex rechecked",
        min_value=0,
        max_value=365,
        initial=14,
    )
    remedy = one_of("Agreed remedy if the sex proves wrong", REMEDIES)
    days_to_pay = forms.IntegerField(
        label="Days from the confirmation to the payment",
        min_value=1,
        max_value=90,
        initial=DAYS_TO_PAY,
        help_text="If you have recorded no payment by then, the sale lapses; both are told.",
    )
    expires = day_field(
        "The offer stands until the end of",
        initial=lambda: timezone.localdate() + timedelta(days=14),
    )
    claims = forms.MultipleChoiceField(
        label="Claims of traits that you offer it with",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Your buyer may rely on them. If one falls or is withdrawn, they are told.",
    )
    note = note("Note for your own record")

    def __init__(
        self,
        *args: Any,
        sale: Sale,
        represents: Sequence[Representation],
        claims: Sequence[tuple[str, str]],
        **kwargs: Any,
    ) -> None:
        """``claims``: each as the animal and the statement, with its words."""
        super().__init__(*args, **kwargs)
        self.sale = sale
        if claims:
            self.fields["claims"].choices = claims  # type: ignore[attr-defined]
        else:
            del self.fields["claims"]
        self.fields["represents"].initial = json.dumps(msgspec.to_builtins(list(represents)))

    def clean_represents(self) -> list[Any]:
        try:
            given = json.loads(self.cleaned_data["represents"])
        except ValueError:
            given = None
        if not isinstance(given, list):
            raise forms.ValidationError("The form came back damaged; open it again.")
        return given

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        last = time(23, 59, 59, tzinfo=timezone.get_current_timezone())
        expires = datetime.combine(given["expires"], last).astimezone(UTC)
        pairs = (one.split() for one in given.get("claims", ()))
        claims = [{"animal": animal, "stated": stated} for animal, stated in pairs]
        return {
            "collection": str(self.sale.collection_id),
            "buyer": str(self.sale.buyer_id),
            "represents": given["represents"],
            "recheck_days": given["recheck_days"],
            "remedy": given["remedy"],
            "days_to_pay": given["days_to_pay"],
            "expires": rfc3339(expires),
            **({"claims": claims} if claims else {}),
        }


class ConfirmationForm(FactForm):
    """The buyer confirms what they saw: the offer, the log position shown, and what that came
    to."""

    kind = "sale_confirmed"

    offer = forms.UUIDField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    shown = forms.JSONField(widget=forms.HiddenInput)
    statement = forms.CharField(
        label="In your words: what do you rely on?",
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="For example: “I buy this animal as a verified female.”",
    )

    code = forms.CharField(
        label="The six digits from the letter",
        required=False,
        max_length=12,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"}),
    )

    def __init__(self, *args: Any, by_code: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not by_code:
            del self.fields["code"]

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        return {"offer": str(given["offer"]), "seen": given["seen"], "shown": given["shown"]}


class AnswerForm(FactForm):
    """Declining or asking for a check, with a note if one likes. Two stand on a page."""

    note = note("A note, if you like")

    def __init__(self, kind: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = f"{kind}_%s"
        self.kind = kind


class ReturnForm(FactForm):
    """The buyer says whether they returned an animal. Several may stand on a page."""

    kind = "return_answered"

    move = forms.UUIDField(widget=forms.HiddenInput)
    answer = forms.CharField(widget=forms.HiddenInput)
    note = note("A note, if you like")

    def body(self) -> dict[str, Any]:
        return {"move": str(self.cleaned_data["move"]), "answer": self.cleaned_data["answer"]}


class ReleaseForm(StepForm):
    """What became of the payment, by the seller's word."""

    why = one_of(
        "What became of the payment?",
        (
            ("recorded_by_mistake", "It was recorded by mistake: I was not paid"),
            ("paid_back", "I paid it back"),
        ),
    )

    def body(self) -> dict[str, Any]:
        return {"why": self.cleaned_data["why"]}


class ReleaseAnswerForm(FactForm):
    """The buyer agrees to that, or denies it. Both stand on a page."""

    asked = forms.UUIDField(widget=forms.HiddenInput)
    answer = forms.ChoiceField(
        widget=forms.HiddenInput, choices=(("agreed", "agreed"), ("denied", "denied"))
    )

    def clean_answer(self) -> str:
        given = str(self.cleaned_data["answer"])
        self.kind = f"release_{given}"
        return given

    def body(self) -> dict[str, Any]:
        return {"asked": str(self.cleaned_data["asked"])}


class CustodyForm(FactForm):
    """``to`` is a collection, or a collection and the sale by which it may be moved there.
    What comes back is for intake to judge: once moved, the choices are no longer known."""

    kind = "custody_changed"

    to = forms.RegexField(UUIDS, label="To which collection?", widget=forms.Select)
    why = one_of(
        "Why?",
        (
            ("sold", "Sold"),
            ("loaned", "Loaned"),
            ("returned", "Returned"),
            ("given", "Given away"),
            ("moved", "Moved"),
        ),
    )

    def offer(self, targets: Sequence[tuple[str, str]]) -> None:
        """Give the collections to choose from."""
        widget = self.fields["to"].widget
        if isinstance(widget, forms.Select):
            widget.choices = targets

    def body(self) -> dict[str, Any]:
        to, _, sale = self.cleaned_data["to"].partition(" ")
        body = {"to": to, "why": self.cleaned_data["why"]}
        return body | ({"sale": sale} if sale else {})
