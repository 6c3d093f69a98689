"""An offer as the buyer sees it: no names of examiners, no ids of people."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from uuid import UUID

import msgspec
from django.utils import timezone
from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.api.shapes.animals import (
    IdentifierShown,
    SpeciesNamed,
    identifiers,
    species,
)
from scalewitness.api.shapes.calls import LateChecksShown, late_checks
from scalewitness.api.shapes.releases import ReleaseShown, release
from scalewitness.api.shapes.returns import ReturnShown, returned
from scalewitness.api.shapes.sales import Held
from scalewitness.calls.models import Call
from scalewitness.disclosures.queries import case_for_buyer
from scalewitness.domain.cautions import BEFORE_A_PURCHASE
from scalewitness.domain.facts import (
    CallMade,
    Corrected,
    Footing,
    OfferMade,
    Representation,
    WhatWasShown,
)
from scalewitness.domain.sexing.explain import ReasonLine
from scalewitness.domain.sexing.sensitivity import in_words
from scalewitness.examiners.backgrounds import backgrounds_of
from scalewitness.intake.rules.sales import represent
from scalewitness.intake.shown import claims_shown, shown_now
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import codes_known, progress_of, still_there
from scalewitness.sales.queries.returns import last_return
from scalewitness.standings.queries.dossier import Dossier, ShownCall


class EvidenceLine(Struct, frozen=True):
    """One line in plain words; ``who`` and ``at`` beside a line about a call, whose text
    begins with a verb."""

    kind: str
    text: str
    who: str | None = None
    at: datetime | None = None


class CallForBuyer(Struct, frozen=True):
    """A call as a buyer is told of it; ``counts`` is false for one withdrawn or set aside;
    ``signed``: on the device of whoever sent it; ``corrected``: ``examined_at`` is what that
    device's clock said plus an offset measured; ``footing`` and ``waiting`` as keepers are told;
    ``examiner``: what is known here of whoever made a call that counts, in a sentence."""

    who: str
    method: words.Method
    conclusion: words.Conclusion
    sureness: str
    examined_at: datetime
    corrected: Corrected | None
    received_at: datetime
    blind: bool
    identity: str
    compared: str | None
    signed: bool
    by_password_only: bool
    counts: bool
    footing: Footing | None
    examiner: str | None
    waiting: bool
    withdrawn: bool
    set_aside: bool
    refiled: bool


class AnimalOffered(Struct, frozen=True):
    """``represented`` is what the offer says, ``current`` what the record says now;
    ``sensitivity`` how far that moves when the model's numbers do, in words; ``returned``: from
    a sale before this one. ``claims``: what the offer claims of its traits, who states it, and
    what became of that, as a confirmation covers it."""

    id: UUID
    name: str
    species: SpeciesNamed
    hatched: date | None
    traits: list[str]
    identifiers: list[IdentifierShown]
    returned: ReturnShown | None
    represented: Representation
    current: Representation
    claims: list[str]
    evidence: list[EvidenceLine]
    sensitivity: str
    calls: list[CallForBuyer]
    late: LateChecksShown


class OfferSeen(Struct, frozen=True):
    """The buyer's confirmation names ``seen``, the log position this was read at, and
    ``shown``, what it came to; by the lasting link nothing is left to confirm, and it is null."""

    sale: UUID
    offer: UUID
    seller: str
    buyer: str
    seen: int
    shown: WhatWasShown | None
    state: words.SaleState
    held: Held
    animals: list[AnimalOffered]
    remedy: str
    recheck_days: int
    days_to_pay: int
    expires: str
    note: str | None
    release: ReleaseShown | None
    cautions: tuple[str, ...]


def offer_seen(
    sale: Sale,
    step: SaleStep,
    *,
    seen: int,
    note: str | None,
    sellers: frozenset[UUID],
    lasting: bool,
) -> OfferSeen:
    """``seen`` must have been read before anything else, so that it never claims too much.
    ``sellers``: the keeper and partners of the selling collection. ``lasting``: by the link that
    lasts, which shows what its page shows and no more."""
    body, progress = msgspec.convert(step.body, OfferMade), progress_of(sale)
    animals = _animals(sale, step, body.represents, sellers)
    return OfferSeen(
        sale=sale.pk,
        offer=step.pk,
        seller=sale.collection.keeper.name,
        buyer=sale.buyer.name,
        seen=seen,
        shown=None if lasting else shown_now(sale, step).summary(),
        state=progress.state,
        held=list(progress.held),
        animals=_as_bought(sale, animals) if lasting else animals,
        remedy=body.remedy,
        recheck_days=body.recheck_days,
        days_to_pay=body.days_to_pay,
        expires=body.expires,
        note=note,
        release=release(sale),
        cautions=BEFORE_A_PURCHASE,
    )


def _animals(
    sale: Sale,
    step: SaleStep,
    represents: Iterable[Representation],
    sellers: frozenset[UUID],
) -> list[AnimalOffered]:
    represented = {UUID(one.animal): one for one in represents}
    now = {UUID(one.animal): one for one in represent(represented)}
    claims = claims_shown(step, None)
    return [
        AnimalOffered(
            id=row.pk,
            name=row.name if still_there(row, sale) else "",
            species=species(row.species),
            hatched=row.hatched,
            traits=list(row.traits),
            identifiers=identifiers(codes_known(row, sale)),
            returned=_returned_before(row.pk, sale),
            represented=represented[row.pk],
            current=now[row.pk],
            claims=claims.get(row.pk, []),
            evidence=_evidence(known, sale, sellers),
            sensitivity=in_words(known.sensitivity),
            calls=[_call_for_buyer(shown, sale, sellers, backgrounds) for shown in known.calls],
            late=late_checks(known.late),
        )
        for row in sale.animals.filter(pk__in=represented).order_by("pk")
        for known in [case_for_buyer(row, sale)]
        for backgrounds in [_backgrounds(known, sale)]
    ]


def _as_bought(sale: Sale, animals: Iterable[AnimalOffered]) -> list[AnimalOffered]:
    """Long after the sale it may be with somebody else: what is found of it there is theirs to
    show, but for what is behind a disclosure."""
    of_sex = sale.disclosures.filter(claim=None)
    disclosed = set(of_sex.values_list("animal", flat=True))
    return [
        msgspec.structs.replace(
            one,
            hatched=None,
            traits=[],
            returned=None,
            sensitivity="",
            evidence=[
                line for line in one.evidence if line.kind == "reason" and one.id in disclosed
            ],
            calls=one.calls if one.id in disclosed else [],
        )
        for one in animals
    ]


def _backgrounds(known: Dossier, sale: Sale) -> Mapping[UUID, str]:
    return backgrounds_of(known, sale.collection.keeper_id, sale.buyer.keeper_id, timezone.now())


def _returned_before(animal: UUID, sale: Sale) -> ReturnShown | None:
    last = last_return(animal, timezone.now())
    return returned(last) if last and last.sale != sale.pk else None


def _evidence(known: Dossier, sale: Sale, sellers: frozenset[UUID]) -> list[EvidenceLine]:
    by_call = {str(shown.call.pk): shown.call for shown in known.calls}
    return [_line(line, by_call.get(line.call or ""), sale, sellers) for line in known.lines]


def _line(
    line: ReasonLine, call: Call | None, sale: Sale, sellers: frozenset[UUID]
) -> EvidenceLine:
    if call is None:
        return EvidenceLine(line.kind, line.text)
    return EvidenceLine(line.kind, line.text, _who(call, sale, sellers), call.examined_at)


def _call_for_buyer(
    shown: ShownCall, sale: Sale, sellers: frozenset[UUID], backgrounds: Mapping[UUID, str]
) -> CallForBuyer:
    call, made = shown.call, msgspec.convert(shown.call.body, CallMade)
    return CallForBuyer(
        who=_who(call, sale, sellers),
        method=call.method,
        conclusion=call.conclusion,
        sureness=made.sureness,
        examined_at=call.examined_at,
        corrected=made.corrected,
        received_at=call.received_at,
        blind=call.blind,
        identity=call.identity,
        compared=shown.compared,
        signed=shown.signed,
        by_password_only=shown.by_password_only,
        counts=shown.counts,
        footing=msgspec.convert(call.footing or None, Footing | None),
        examiner=backgrounds.get(call.examiner) if shown.counts else None,
        waiting=shown.waiting,
        withdrawn=shown.withdrawn,
        set_aside=shown.set_aside,
        refiled=shown.refiled,
    )


def _who(call: Call, sale: Sale, sellers: frozenset[UUID]) -> str:
    """The examiner as a part in the deal, never by name."""
    if call.role != "keeper":
        return f"{call.role.replace('_', ' ')} (reported by {_sender(call, sale, sellers)})"
    return _sender(call, sale, sellers)


def _sender(call: Call, sale: Sale, sellers: frozenset[UUID]) -> str:
    if call.by in sellers:
        return "the seller"
    if call.by == sale.buyer.keeper_id:
        return "you"
    return "a keeper with an interest" if call.interested else "independent keeper"
