"""The printed record of a determination: everything the page says, blanks stated as blanks."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.conf import settings
from django.urls import reverse

from scalewitness.animals.models import Animal, Identifier
from scalewitness.disclosures.queries import case_for_buyer
from scalewitness.domain.cautions import BEFORE_A_PURCHASE
from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import log_signer
from scalewitness.mail.templatetags.words import SCHEMES, day, moment
from scalewitness.pages.animals.evidence import (
    CallInWords,
    by_name,
    for_buyer,
    late_in_words,
    lines_of,
    sensitivity_of,
)
from scalewitness.pages.animals.story import changes_of_label, checks_made
from scalewitness.pages.papers.drawing import on_paper, sign_on_paper, strip_on_paper
from scalewitness.pages.papers.typesetting import pdf
from scalewitness.pages.parts.qr import qr
from scalewitness.pages.plots.of_case import depths_of
from scalewitness.pages.plots.timeline import LANES, Happened, Strip
from scalewitness.quoted.queries import ShownQuote, quotes_shown
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import codes_known, still_there
from scalewitness.sales.queries.returns import last_return
from scalewitness.standings.queries.dossier import Dossier, dossier
from scalewitness.standings.queries.logged import label_of

BLANK = "not recorded"
FOR_KEEPERS = (
    "Leads to the receipt of this standing: a file that proves its place in the log, and that "
    "anyone with the log's key can check without us."
)
FOR_BUYERS = FOR_KEEPERS + (
    " The address opens in your name: give a copy of this paper only to people you trust with it."
)


def record_for_keepers(animal: Animal, now: datetime) -> bytes:
    """With examiners by name; for people who see the animal whole."""
    case = dossier(animal)
    where = reverse("receipt", args=[case.standing.pk]) if case.standing else None
    known = facts_of(animal, animal.name, now)
    quoted = list(map(_quoted, quotes_shown(animal.pk)))
    events = list(changes_of_label(case.standings))
    return _paper(case, by_name(case), now, where, FOR_KEEPERS, known, events, quoted)


def record_for_buyer(animal: Animal, sale: Sale, token: str, now: datetime) -> bytes:
    """With examiners by their part, as on the offer."""
    case = case_for_buyer(animal, sale)
    where = reverse("offer_receipt", args=[token, case.standing.pk]) if case.standing else None
    calls = for_buyer(case, sale.collection.keeper_id, sale.buyer.keeper_id, now)
    # What the next keeper calls it, and what codes they give it, is theirs.
    name = animal.name if still_there(animal, sale) else ""
    known = facts_of(animal, name, now, codes_known(animal, sale))
    # What the record said before they were told of it, and since, is not told here.
    return _paper(case, calls, now, where, FOR_BUYERS, known, [])


def _paper(
    case: Dossier,
    calls: Sequence[CallInWords],
    now: datetime,
    where: str | None,
    receipt: str,
    known: list[tuple[str, str]],
    events: list[Happened],
    quoted: Sequence[str] = (),
) -> bytes:
    """``known``: what its reader knows of the animal, as `facts_of` gives it; ``events``: what
    happened besides the checks; ``quoted``: what other logs say of it."""
    strip = Strip([*events, *checks_made(calls)], now, LANES)
    address = f"{settings.PUBLIC_URL}{where}" if where else None
    assessment = case.assessment
    data = common(case, now) | {
        "title": "Record of a determination of sex",
        "position": case.standing.position if case.standing else tip().size - 1,
        "animal": known,
        "sensitivity": sensitivity_of(case),
        "provenance": (
            f"Computed by the server with the parameters {assessment.parameters}, the rule "
            f"{assessment.policy} and examiners' records {assessment.records}; every number "
            "behind it, with its source, is on the page of the animal."
        ),
        "calls": [call_shown(one) for one in calls],
        "strip": strip_on_paper(strip),
        "quoted": quoted,
        "cautions": [*(one.text for one in lines_of(case, "caution")), *BEFORE_A_PURCHASE],
        "qr": qr(address, alone=True) if address else None,
        "address": address,
        "receipt": receipt,
    }
    return pdf("record", data)


def _quoted(one: ShownQuote) -> str:
    log = f"the log {one.origin}" if one.known else f"an unknown log, “{one.origin}”, {one.key}"
    there = f"{one.label}, chance of male {one.p_male}" if one.label else "no standing"
    forked = " That log signed two different states of this size." if one.forked else ""
    return (
        f"Quoted from {log}, as of its position {one.as_of}: {there}, as that log has it. It is "
        f"not counted here.{forked}"
    )


def common(case: Dossier, now: datetime) -> dict[str, Any]:
    """What every paper about an animal says."""
    return {
        "printed": moment(now),
        "origin": f"log {log_signer().verifier.name}",
        "label": label_of(case.standing).capitalize(),
        "number": str(case.animal.pk),
        "sign": sign_on_paper(case),
        "depths": on_paper(depths_of(case)),
        "answer": [one.text for one in lines_of(case, "answer")],
        "reasons": [one.text for one in lines_of(case, "reason")],
        "late": late_in_words(case.late),
    }


def facts_of(
    animal: Animal, name: str, now: datetime, known: Iterable[Identifier] | None = None
) -> list[tuple[str, str]]:
    codes: dict[str, list[str]] = {scheme: [] for scheme in SCHEMES}
    for one in animal.identifiers.order_by("position") if known is None else known:
        codes.setdefault(one.scheme, []).append(one.code)
    kind = taxon(animal.species)
    return [
        ("Name", name or BLANK),
        ("Species", f"{kind.common}, {kind.scientific}"),
        ("Hatched", day(animal.hatched) or BLANK),
        *_end(animal),
        *_return(animal, now),
        *(
            (SCHEMES.get(scheme, scheme).capitalize(), ", ".join(found) or BLANK)
            for scheme, found in codes.items()
        ),
    ]


def _end(animal: Animal) -> list[tuple[str, str]]:
    if not animal.ended:
        return []
    return [("No longer there", f"{ENDED[animal.ended]} As of {day(animal.ended_at)}.")]


def _return(animal: Animal, now: datetime) -> list[tuple[str, str]]:
    last = last_return(animal.pk, now)
    return [("Sold before", f"{last.in_words.capitalize()}, {day(last.at)}.")] if last else []


def call_shown(shown: CallInWords) -> dict[str, Any]:
    """A call as a paper sets it."""
    more = [*shown.flags, *([shown.report] if shown.report else [])]
    if shown.examiner:
        more.append(f"The examiner: {shown.examiner}")
    if shown.interest:
        more.append(f"Interest: {shown.interest}.")
    if shown.harm:
        more.append(f"Harm seen: {', '.join(shown.harm)}.")
    more += [f"Someone objects: {ground}." for ground in shown.objections]
    return {
        "key": shown.key,
        "who": shown.who,
        "method": shown.method.lower(),
        "examined": day(shown.call.examined_at),
        "found": shown.text,
        "note": shown.note,
        "knew": shown.knew,
        "identity": shown.identity,
        "signed": shown.signed,
        "more": " ".join(more),
        "state": shown.state,
        "position": shown.call.position,
    }
