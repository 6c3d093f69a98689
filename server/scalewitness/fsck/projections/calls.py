"""Calls, and what becomes of them."""

from uuid import UUID

from scalewitness.calls.models import Attestation, Call, HeldDecision, Objection, Withdrawal
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, id_of, row_of_fact
from scalewitness.fsck.reading import LoggedFact


def call_made(said: LoggedFact, past: Past) -> Rows:
    body, known = said.body, past.circumstance(said)
    yield Row(
        Call,
        row_of_fact(
            said,
            animal_id=said.about,
            by=said.by,
            examiner=UUID(body.reported.who) if body.reported else said.by,
            role=body.reported.role if body.reported else "keeper",
            method=said.raw["observed"]["method"],
            conclusion=body.conclusion,
            examined_at=said.at,
            received_at=said.received_at,
            visit=id_of(body.visit),
            stage=known.stage,
            identity=known.identity,
            blind=known.blind,
            interested=known.interested,
            anchored_to=known.anchored_to,
            flags=list(said.flags),
            body=said.raw,
        ),
    )


def call_withdrawn(said: LoggedFact, past: Past) -> Rows:
    yield Row(Withdrawal, row_of_fact(said, call_id=UUID(said.body.call), at=said.at))


def call_objected(said: LoggedFact, past: Past) -> Rows:
    more = {"by": said.by, "ground": said.body.ground, "at": said.at}
    yield Row(Objection, row_of_fact(said, call_id=UUID(said.body.call), **more))


def report_attested(said: LoggedFact, past: Past) -> Rows:
    call, answer = said.body.call, said.raw.get("answer")
    more = {"by": said.by, "kind": said.kind, "answer": answer, "at": said.at}
    stands = past.report(said).report
    yield Row(Attestation, row_of_fact(said, call_id=UUID(call), report=stands, **more))


def late_call_decided(said: LoggedFact, past: Past) -> Rows:
    held, admitted = UUID(said.body.held), said.body.admitted
    yield Row(HeldDecision, {"held_id": held, "position": said.position, "admitted": admitted})
