"""Sales, disclosures and disputes."""

from uuid import UUID

from scalewitness.calls.models import SetAside
from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.disputes.models import Dispute, Finding, Statement
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, id_of, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.sales.models import Sale, SaleAnimal, SaleStep


def sale_step(said: LoggedFact, past: Past) -> Rows:
    more = {"kind": said.kind, "by": said.by, "at": said.received_at, "body": said.raw}
    yield Row(SaleStep, row_of_fact(said, sale_id=said.about, **more))


def offer_made(said: LoggedFact, past: Past) -> Rows:
    """The draft itself is no fact; its parties and animals are those that were offered."""
    body = said.body
    yield from sale_step(said, past)
    parties = {"collection_id": UUID(body.collection), "buyer_id": UUID(body.buyer)}
    yield Row(Sale, {"id": said.about, **parties})
    for one in body.represents:
        yield Row(SaleAnimal, {"sale_id": said.about, "animal_id": UUID(one.animal)})


def disclosure_owed(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    yield Row(
        Disclosure,
        row_of_thing(
            said,
            sale_id=UUID(body.sale),
            animal_id=UUID(body.animal),
            to_id=UUID(body.to),
            cause=UUID(body.cause),
            change=body.change,
            was=said.raw["was"],
            now=said.raw["now"],
            owed_at=said.received_at,
        ),
    )


def disclosure_acknowledged(said: LoggedFact, past: Past) -> Rows:
    read = {"disclosure_id": said.about, "position": said.position, "at": said.received_at}
    yield Row(Acknowledgement, read)


def dispute_opened(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    yield Row(
        Dispute,
        row_of_thing(
            said,
            animal_id=UUID(body.animal),
            sale_id=id_of(body.sale),
            ground=body.ground,
            cause=id_of(body.cause),
            by=said.by,
            opened_at=said.received_at,
        ),
    )


def statement_made(said: LoggedFact, past: Past) -> Rows:
    yield Row(Statement, row_of_fact(said, dispute_id=said.about, by=said.by, at=said.received_at))


def finding_recorded(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    found = {"outcome": body.outcome, "remedy": body.remedy, "set_aside": list(body.set_aside)}
    found |= {"basis": body.basis or "", "document": body.document or ""}
    yield Row(
        Finding, row_of_fact(said, dispute_id=said.about, by=said.by, at=said.received_at, **found)
    )
    for call in body.set_aside:
        aside = {"call_id": UUID(call), "finding": said.id, "position": said.position}
        yield Row(SetAside, aside)
