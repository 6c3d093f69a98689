"""Animals, what is noted of them, and pairings."""

from datetime import date
from uuid import UUID

from scalewitness.animals.models import Animal, Custody, Husbandry, Identifier, Photo
from scalewitness.animals.queries import plain_code
from scalewitness.breeding.models import Pairing, PairingEnd
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, id_of, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.standings.models import StatedLinkage

PARTICULARS = frozenset({"animal_registered", "particulars_corrected"})


def animal_registered(said: LoggedFact, past: Past) -> Rows:
    yield from particulars_corrected(said, past)
    if past.is_latest(said, {"custody_changed"}):
        yield Row(Animal, {"id": said.about, "collection_id": UUID(said.body.collection)})


def particulars_corrected(said: LoggedFact, past: Past) -> Rows:
    """The animal has the latest particulars only."""
    body = said.body
    if past.is_latest(said, PARTICULARS):
        yield Row(
            Animal,
            {
                "id": said.about,
                "species": body.species,
                "hatched": date.fromisoformat(body.hatched) if body.hatched else None,
                "sire": id_of(body.sire),
                "dam": id_of(body.dam),
                "traits": list(body.traits),
            },
        )


def identifier_assigned(said: LoggedFact, past: Past) -> Rows:
    scheme = said.body.scheme
    code = plain_code(scheme, said.body.code)
    yield Row(Identifier, row_of_fact(said, animal_id=said.about, scheme=scheme, code=code))


def husbandry_noted(said: LoggedFact, past: Past) -> Rows:
    noted = said.raw["noted"]
    more = {"by": said.by, "at": said.at, "type": noted["type"], "noted": noted}
    yield Row(Husbandry, row_of_fact(said, animal_id=said.about, **more))


def photo_attached(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    more = {"by": said.by, "at": said.at, "call": id_of(body.of)}
    file = {"sha256": body.sha256, "size": body.size}
    yield Row(Photo, row_of_fact(said, animal_id=said.about, **more, **file))


def custody_changed(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    came, went = past.home_before(said), UUID(body.to)
    more = {"came_from": came, "went_to": went, "why": body.why, "at": said.at}
    yield Row(Custody, row_of_fact(said, animal_id=said.about, **more))
    if past.is_latest(said, {"custody_changed"}):
        yield Row(Animal, {"id": said.about, "collection_id": went})


def linkage_stated(said: LoggedFact, past: Past) -> Rows:
    more = {"by": said.by, "at": said.at, "body": said.raw}
    yield Row(StatedLinkage, row_of_fact(said, animal_id=said.about, **more))


def pairing_planned(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    pair = {"sire_id": UUID(body.sire), "dam_id": UUID(body.dam), "season": body.season}
    yield Row(Pairing, row_of_thing(said, by=said.by, at=said.received_at, **pair))


def pairing_dropped(said: LoggedFact, past: Past) -> Rows:
    end = row_of_fact(said, pairing_id=said.about, by=said.by, at=said.received_at)
    yield Row(PairingEnd, end)
