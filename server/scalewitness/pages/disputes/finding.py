"""The forms of a finding: to record one, and to agree to it or not."""

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from hashlib import sha256
from typing import Any
from uuid import UUID

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import QueryDict
from django.utils import timezone

from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import (
    Summary,
    answering,
    may_be_set_aside,
    other_side,
    possible_arbiters,
    summary_of,
    would_set_aside,
)
from scalewitness.domain import findings
from scalewitness.domain.findings import Part
from scalewitness.domain.pictures.reencoding import LARGEST_UPLOAD
from scalewitness.pages.animals.evidence import CallInWords, by_role
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, note
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.standings.queries.dossier import dossier

OUTCOMES = (
    ("call_set_aside", "A call is set aside"),
    *((code, words) for code, words in findings.OUTCOMES.items() if code != "call_set_aside"),
)
REMEDIES = (
    ("none", "None"),
    ("refund", "Refund"),
    ("exchange", "Exchange"),
    ("recheck", "A further check"),
    ("other", "Something else"),
)
BASES = (
    ("", "Your own"),
    ("agreement", "Both sides agree"),
    ("arbiter", "An arbiter’s"),
    ("veterinarian", "A veterinarian’s"),
)


@dataclass(frozen=True, slots=True)
class Offers:
    """What a finding could be now: ``may``, those of the ``calls`` that could be set aside, or
    proposed to be; ``arbiters``, who could be named; ``other_side``, whether there is one."""

    calls: Sequence[CallInWords]
    may: Set[UUID]
    arbiters: Mapping[UUID, str]
    other_side: bool

    @property
    def missing(self) -> set[str]:
        """Outcomes and bases that would be refused, or could never be confirmed."""
        there = {"call_set_aside": self.may, "arbiter": self.arbiters, "agreement": self.other_side}
        return {code for code, some in there.items() if not some}


def offers(dispute: Dispute, keeper: Keeper, calls: Sequence[CallInWords]) -> Offers:
    """By the same rules that intake judges by."""
    named = names_of(possible_arbiters(dispute, keeper.pk, timezone.now()))
    other = other_side(dispute, keeper.pk) is not None
    may = may_be_set_aside(dispute, asked=other or bool(named))
    return Offers(calls, may, named, other)


def _as_choice(one: tuple[UUID, str]) -> tuple[str, str]:
    return str(one[0]), one[1]


class FindingForm(FactForm):
    kind = "finding_recorded"
    outcome = one_of("What is the outcome?", OUTCOMES)
    set_aside = forms.MultipleChoiceField(
        label="Which calls are set aside?",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="They stay on record. Listed are those that a later blind check, by someone with "
        "no share in the animal, contradicts. A check by someone with no share in it goes on "
        "counting until the other side or the arbiter agrees: they are asked.",
    )
    remedy = one_of("Remedy", REMEDIES, initial="none")
    basis = one_of(
        "On whose word does it rest?",
        BASES,
        initial="",
        help_text="What you say of others is shown as your word until they confirm it.",
    )
    arbiter = forms.ChoiceField(
        label="The arbiter, to be asked",
        required=False,
        help_text="A keeper who may see the animal, with no share in it and no part in a sale of "
        "it. Whoever is not listed needs access to it as a viewer first.",
    )
    report = forms.FileField(
        label="A written report, if there is one",
        required=False,
        help_text="Of a veterinarian or of the arbiter you agreed on. The file is not kept here: "
        "its fingerprint goes on record, so that whoever holds the file can show it is that one.",
    )
    reasons = note("Your reasons")

    def __init__(self, *args: Any, offers: Offers, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.own = {str(one.call.pk) for one in offers.calls if one.call.interested}
        # What was sent is judged by intake alone, which says why it refuses.
        calls = [one for one in offers.calls if self.is_bound or one.call.pk in offers.may]
        self._offer(
            "set_aside",
            [
                (str(one.call.pk), f"{one.method} by {one.who}: {one.call.conclusion}")
                for one in calls
            ],
        )
        self._offer("arbiter", [("", "Nobody"), *map(_as_choice, offers.arbiters.items())])
        missing = offers.missing
        if not self.is_bound:
            self._offer("outcome", [one for one in OUTCOMES if one[0] not in missing])
            self._offer("basis", [one for one in BASES if one[0] not in missing])
            for code, field in (("call_set_aside", "set_aside"), ("arbiter", "arbiter")):
                if code in missing:
                    del self.fields[field]
        self.fields["reasons"].required = True
        self.fields["basis"].required = False

    def _offer(self, name: str, choices: Sequence[tuple[str, str]]) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def clean_report(self) -> str:
        """The file's SHA-256; nothing else of it is kept."""
        sent: UploadedFile[Any] | None = self.cleaned_data["report"]
        if sent is None:
            return ""
        if (sent.size or 0) > LARGEST_UPLOAD:
            raise forms.ValidationError(
                f"A file may have at most {LARGEST_UPLOAD // 1_000_000} MB: choose a smaller one."
            )
        digest = sha256()
        for chunk in sent.chunks():
            digest.update(chunk)
        return digest.hexdigest()

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        body = {"outcome": given["outcome"], "remedy": given["remedy"]}
        alone = [one for one in given["set_aside"] if one in self.own]
        if alone:
            body["set_aside"] = alone
        if proposed := [one for one in given["set_aside"] if one not in self.own]:
            body["proposed"] = proposed
        if given["arbiter"]:
            body["arbiter"] = given["arbiter"]
        if given["basis"]:
            body["basis"] = given["basis"]
        if given["report"]:
            body["document"] = given["report"]
        return body

    def _field_at(self, pointer: str) -> str | None:
        if pointer.startswith(("/body/set_aside", "/body/proposed")):
            return "set_aside"
        return super()._field_at(pointer)


class FindingAnswerForm(FactForm):
    """The other side, or the arbiter, agrees or does not."""

    kind = "finding_answered"
    finding = forms.CharField(widget=forms.HiddenInput)
    set_aside = forms.CharField(widget=forms.HiddenInput, required=False)
    agrees = one_of("Do you agree?", (("yes", "I agree"), ("no", "I do not agree")))

    def __init__(
        self, data: QueryDict | None, *, summary: Summary, finding: Finding, part: Part
    ) -> None:
        self.would_set_aside = would_set_aside(finding)
        initial = {"finding": str(finding.pk), "set_aside": " ".join(self.would_set_aside)}
        super().__init__(data, initial=initial)
        self.auto_id = "answer_%s"
        if summary.answers.get(part) is False:
            self.fields["agrees"].label = "You did not agree. Do you agree now?"
            self.fields["agrees"].choices = [("yes", "I agree")]  # type: ignore[attr-defined]

    def body(self) -> dict[str, Any]:
        agrees = self.cleaned_data["agrees"] == "yes"
        body = {"finding": self.cleaned_data["finding"], "agrees": agrees}
        aside = self.cleaned_data["set_aside"].split() if agrees else []
        return body | ({"set_aside": aside} if aside else {})


def summary_if_settled(dispute: Dispute) -> Summary | None:
    found: Finding | None = getattr(dispute, "finding", None)
    return summary_of(dispute, found) if found else None


def answer_form(
    dispute: Dispute,
    summary: Summary | None,
    keeper: UUID | None,
    data: QueryDict | None = None,
    *,
    by_link: bool = False,
) -> FindingAnswerForm | None:
    """For whoever may answer the finding, and while they may where nothing is sent yet;
    ``by_link``: through the link of its sale."""
    if summary is None:
        return None
    buys = by_link or (dispute.sale is not None and keeper == dispute.sale.buyer.keeper_id)
    now, found = timezone.now(), dispute.finding
    part = answering(dispute, found, summary.side, keeper, as_buyer=buys, now=now)
    if part is None or (data is None and part not in summary.open_to):
        return None
    return FindingAnswerForm(data, summary=summary, finding=found, part=part)


def calls_by_role(dispute: Dispute) -> list[CallInWords]:
    """The calls on the animal, without a name or what is written with them."""
    sale = dispute.sale
    seller = sale.collection.keeper_id if sale else dispute.animal.collection.keeper_id
    return by_role(dossier(dispute.animal), seller)


def asked_about(form: FindingAnswerForm | None, calls: Iterable[CallInWords]) -> list[CallInWords]:
    """Those of the calls that an answer to the finding would set aside, for who may answer."""
    wanted = form.would_set_aside if form else ()
    return [one for one in calls if str(one.call.pk) in wanted]
