"""Animals, what is noted of them, and pairings."""

from datetime import date
from uuid import UUID

from scalewitness.animals.models import (
    Animal,
    Custody,
    Husbandry,
    Identifier,
    IdentifierWithdrawal,
    Joining,
    JoiningAnswer,
    Photo,
)
from scalewitness.breeding.models import AffectedPlan, Pairing, PairingAgreement, PairingEnd
from scalewitness.domain.identifiers import plain_code
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, id_of, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.standings.models import StatedLinkage

PARTICULARS = frozenset({"animal_registered", "particulars_corrected"})
ENDS = frozenset({"animal_ended", "end_corrected", "registered_in_error"})


def animal_registered(fact: LoggedFact, past: Past) -> Rows:
    yield from particulars_corrected(fact, past)
    if past.is_latest(fact, {"custody_changed"}):
        yield Row(Animal, {"id": fact.about, "collection_id": UUID(fact.body.collection)})
    yield from end_corrected(fact, past)


def particulars_corrected(fact: LoggedFact, past: Past) -> Rows:
    """The animal has the latest particulars only."""
    body = fact.body
    if past.is_latest(fact, PARTICULARS):
        yield Row(
            Animal,
            {
                "id": fact.about,
                "species": body.species,
                "hatched": date.fromisoformat(body.hatched) if body.hatched else None,
                "sire": id_of(body.sire),
                "dam": id_of(body.dam),
                "traits": list(body.traits),
            },
        )


def identifier_assigned(fact: LoggedFact, past: Past) -> Rows:
    scheme = fact.body.scheme
    code = plain_code(scheme, fact.body.code)
    yield Row(Identifier, row_of_fact(fact, animal_id=fact.about, scheme=scheme, code=code))


def identifier_withdrawn(fact: LoggedFact, past: Past) -> Rows:
    scheme = fact.body.scheme
    more = {"scheme": scheme, "code": plain_code(scheme, fact.body.code)}
    more |= {"by": fact.by, "at": fact.at}
    yield Row(IdentifierWithdrawal, row_of_fact(fact, animal_id=fact.about, **more))


def joining_proposed(fact: LoggedFact, past: Past) -> Rows:
    code = plain_code("transponder", fact.body.code)
    more = {"by": fact.by, "at": fact.at, "code": code, "parts_id": None}
    yield Row(Joining, row_of_fact(fact, animal_id=fact.about, **more))


def parting_proposed(fact: LoggedFact, past: Past) -> Rows:
    more = {"by": fact.by, "at": fact.at, "code": "", "parts_id": UUID(fact.body.joining)}
    yield Row(Joining, row_of_fact(fact, animal_id=fact.about, **more))


def joining_answered(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    more = {"by": fact.by, "at": fact.at, "agrees": body.agrees, "finding": id_of(body.finding)}
    row = row_of_fact(fact, animal_id=fact.about, proposal_id=UUID(body.proposal), **more)
    yield Row(JoiningAnswer, row)


def husbandry_noted(fact: LoggedFact, past: Past) -> Rows:
    noted = fact.raw["noted"]
    more = {"by": fact.by, "at": fact.at, "type": noted["type"], "noted": noted}
    yield Row(Husbandry, row_of_fact(fact, animal_id=fact.about, **more))


def photo_attached(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    more = {"by": fact.by, "at": fact.at, "call": id_of(body.of)}
    file = {"sha256": body.sha256, "size": body.size}
    yield Row(Photo, row_of_fact(fact, animal_id=fact.about, **more, **file))


def custody_changed(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    came, went = past.home_before(fact), UUID(body.to)
    more = {"came_from": came, "went_to": went, "why": body.why, "at": fact.at}
    yield Row(Custody, row_of_fact(fact, animal_id=fact.about, **more))
    if past.is_latest(fact, {"custody_changed"}):
        yield Row(Animal, {"id": fact.about, "collection_id": went})


def animal_ended(fact: LoggedFact, past: Past) -> Rows:
    if past.is_latest(fact, ENDS):
        yield Row(Animal, {"id": fact.about, "ended": fact.body.why, "ended_at": fact.at})


def end_corrected(fact: LoggedFact, past: Past) -> Rows:
    """There again, as from the beginning."""
    if past.is_latest(fact, ENDS):
        yield Row(Animal, {"id": fact.about, "ended": "", "ended_at": None})


def registered_in_error(fact: LoggedFact, past: Past) -> Rows:
    """For good."""
    yield Row(Animal, {"id": fact.about, "ended": "error", "ended_at": fact.at})


def linkage_stated(fact: LoggedFact, past: Past) -> Rows:
    more = {"by": fact.by, "at": fact.at, "body": fact.raw}
    yield Row(StatedLinkage, row_of_fact(fact, animal_id=fact.about, **more))


def pairing_planned(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    pair = {"sire_id": UUID(body.sire), "dam_id": UUID(body.dam), "season": body.season}
    yield Row(Pairing, row_of_thing(fact, by=fact.by, at=fact.received_at, **pair))


def pairing_dropped(fact: LoggedFact, past: Past) -> Rows:
    end = row_of_fact(fact, pairing_id=fact.about, by=fact.by, at=fact.received_at)
    yield Row(PairingEnd, end)


def pairing_agreed(fact: LoggedFact, past: Past) -> Rows:
    row = row_of_fact(fact, pairing_id=fact.about, by=fact.by, at=fact.received_at)
    yield Row(PairingAgreement, row)


def plan_affected(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    more = {"season": body.season, "change": body.change, "pairings": fact.raw["pairings"]}
    more |= {"animal": UUID(body.animal), "cause": UUID(body.cause), "at": fact.received_at}
    yield Row(AffectedPlan, row_of_fact(fact, collection_id=fact.about, **more))
