"""What the record states by itself."""

from uuid import UUID

from scalewitness.calls.models import Joined, Parted, WaitEnded
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.ledger.models import StatedMap, Succession
from scalewitness.standings.models import AdoptedNumbers, AdoptedPolicy, ExaminerRecord, Standing


def standing_changed(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    yield Row(
        Standing,
        row_of_fact(
            fact,
            animal_id=fact.about,
            label=body.label,
            p_male=body.p_male,
            p_male_pessimistic=body.p_male_pessimistic,
            parameters=body.parameters,
            policy=body.policy,
            examiner_records=body.examiner_records,
            verified_with=body.verified_with or "",
            known_elsewhere=body.known_elsewhere,
            calls_elsewhere=body.calls_elsewhere,
        ),
    )
    for call in body.counted:
        yield Row(WaitEnded, {"call_id": UUID(call), "position": fact.position})
    for call in body.parted:
        yield Row(Parted, {"call_id": UUID(call), "position": fact.position})
    for call in body.joined:
        yield Row(Joined, {"call_id": UUID(call), "position": fact.position})


def policy_adopted(fact: LoggedFact, past: Past) -> Rows:
    yield Row(AdoptedPolicy, row_of_thing(fact, **fact.raw))


def numbers_adopted(fact: LoggedFact, past: Past) -> Rows:
    yield Row(AdoptedNumbers, row_of_thing(fact, **fact.raw))


def examiner_record_changed(fact: LoggedFact, past: Past) -> Rows:
    yield Row(ExaminerRecord, row_of_fact(fact, examiner=fact.about, **{"hosts": 0} | fact.raw))


def books_closed(fact: LoggedFact, past: Past) -> Rows:
    """What it came to is laid beside its root with the lines (``fsck/books``)."""
    yield from ()


def data_erased(fact: LoggedFact, past: Past) -> Rows:
    """It accounts for what is gone, and leaves nothing."""
    yield from ()


def origin_succeeded(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    keys = {"old_key": body.old_key, "new_key": body.new_key}
    more = {"checkpoint": body.checkpoint, "missing": body.missing, "at": fact.at}
    yield Row(Succession, row_of_fact(fact, **keys, **more))


def map_root(fact: LoggedFact, past: Past) -> Rows:
    yield Row(StatedMap, row_of_fact(fact, **fact.raw))
