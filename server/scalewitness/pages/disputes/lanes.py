"""Who knew what when: a lane in time for each examiner and for the buyers, beside what the record
said. For those who may see the animal whole."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.mail.models import Letter
from scalewitness.pages.animals.evidence import CallInWords
from scalewitness.pages.animals.story import changes_of_label
from scalewitness.pages.plots.timeline import LANES, Happened, Strip
from scalewitness.standings.queries.logged import StandingHeard

TITLE: Final = "Who knew what when"
CHANGED: Final = {
    "fell": "that it is no longer {was}",
    "reversed": "that it is now {now}, and no longer {was}",
    "restored": "that it is {now} again",
}
TOLD: Final = {
    "dispute_opened": "that a dispute is open",
    "dispute_opened_buyer": "that a dispute is open",
    "finding": "the finding",
    "finding_keeper": "the finding",
    "statement_made": "what a party states",
    "statement_made_buyer": "what a party states",
    "recheck_asked": "that a call contradicts its sex",
    "sale_held": "that the sale is held",
    "sale_held_seller": "that the sale is held",
    "pairing_affected": "that a planned pairing rests on its sex",
}
TO_BUYERS: Final = frozenset(
    {"disclosure", "finding", "dispute_opened_buyer", "statement_made_buyer", "sale_held"}
)


def who_knew(
    dispute: Dispute,
    calls: Sequence[CallInWords],
    standings: Iterable[StandingHeard],
    letters: Iterable[Letter],
    statements: Iterable[Mapping[str, Any]],
    now: datetime,
    *,
    named: bool,
) -> Strip:
    """``calls``: in the order made; ``statements``: as the page shows them. A letter tells somebody
    once a mail host took it; unless ``named``, not by name. Buyers have no name here, and nor has
    whoever keeps the animal and did not check it."""
    people = {one.call.examiner: f"examiner {n}" for n, one in enumerate(calls)}
    names = {"standing": LANES["standing"]}
    names |= {people[one.call.examiner]: one.who for one in calls}
    kept = "Keepers who did not check it" if named else "Keepers"
    names |= {"kept": kept, "buyer": "The buyer"}
    names |= {"buyers": "Other buyers" if dispute.sale else "Buyers", "dispute": "The dispute"}
    events = [
        *changes_of_label(standings),
        *_checks(calls, people),
        *_letters(dispute, letters, people if named else {}, names),
        *_acknowledged(dispute, names),
        *_in_it(dispute, statements),
    ]
    return Strip(events, now, names, TITLE)


def _checks(calls: Iterable[CallInWords], people: Mapping[UUID, str]) -> Iterator[Happened]:
    for one in calls:
        found = one.call.conclusion
        found = "no conclusion" if found == "undetermined" else found
        yield Happened(
            at=one.call.examined_at,
            lane=people[one.call.examiner],
            key=one.key,
            blind=one.call.blind,
            text=f"{one.who}, call {one.key}: {one.method}, {found}. {one.knew}.",
            proof=f"log position {one.call.position}",
        )


def _letters(
    dispute: Dispute,
    letters: Iterable[Letter],
    people: Mapping[UUID, str],
    names: Mapping[str, str],
) -> Iterator[Happened]:
    for one in letters:
        what = _what(one)
        if one.state != Letter.State.SENT or one.sent_at is None or not what:
            continue
        if one.kind in TO_BUYERS:
            lane = _buyer(dispute, one.recipient)
        else:
            lane = people.get(one.recipient, "kept")
        yield Happened(one.sent_at, lane, f"{names[lane]}, by letter: told {what}.", by_letter=True)


def _buyer(dispute: Dispute, buyer: UUID) -> str:
    return "buyer" if dispute.sale and dispute.sale.buyer_id == buyer else "buyers"


def _what(letter: Letter) -> str:
    if letter.kind not in {"disclosure", "standing_notice"}:
        return TOLD.get(letter.kind, "")
    was, now = letter.context["was"], letter.context["now"]
    if letter.kind == "disclosure":
        was, now = was["label"], now["label"]
    return CHANGED[letter.context["change"]].format(was=was, now=now)


def _acknowledged(dispute: Dispute, names: Mapping[str, str]) -> Iterator[Happened]:
    owed = Disclosure.objects.filter(animal=dispute.animal_id).exclude(acknowledgement=None)
    for one in owed.select_related("acknowledgement"):
        lane, read = _buyer(dispute, one.to_id), one.acknowledgement
        text = f"{names[lane]}: acknowledged what changed."
        yield Happened(read.at, lane, text, proof=f"log position {read.position}")


def _in_it(dispute: Dispute, statements: Iterable[Mapping[str, Any]]) -> Iterator[Happened]:
    yield _entry(dispute.opened_at, "The dispute was opened.", dispute.position)
    for one in statements:
        yield _entry(one["at"], f"{one['who']} made a statement.", one["position"])
    if found := getattr(dispute, "finding", None):
        yield _entry(found.at, "The finding was recorded.", found.position)


def _entry(at: datetime, text: str, position: int) -> Happened:
    return Happened(at, "dispute", text, proof=f"log position {position}")
