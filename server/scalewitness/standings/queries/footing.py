"""Whose word may verify a sex: those whom something ties to honest people here.

Two fresh accounts cost nothing, so what they say to each other verifies nothing. A word has a
footing by its speaker's own record, by keepers who answer for them, or because the operator named
them before anybody had a record.
"""

from collections.abc import Iterable, Mapping, Set
from functools import lru_cache
from itertools import combinations
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.animals.queries.partners import share_a_collection
from scalewitness.calls.models import COUNTS, Call
from scalewitness.domain.facts import ExaminerRecordChanged, Footing
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.examiners.sprt import decide
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.qualification import PLAN
from scalewitness.ledger.queries.prepared import asked, ids_literal
from scalewitness.people.models import Deceit, Voucher
from scalewitness.standings.queries.records import NEWEST, latest_records

CALLS: Final = 8
"""Settled blind calls that give a footing: somebody who guesses has at most one of eight wrong in
4 of 100 tries (our judgement)."""
HOSTS: Final = 2
"""For so many other keepers at least: one could be a friend (our judgement)."""
WRONG: Final = 8
"""One call in so many may be wrong: twice what is good enough for an examiner, as few are settled
(our judgement)."""
VOUCHERS: Final = 2
"""Keepers who keep no animals together: one alone may be careless or a friend, and a young club
hardly has three who know a newcomer (our judgement)."""
FOUNDERS: Final = 5
"""As many as a club that begins has people whom all know (our judgement)."""
EARNED: Final = 10
"""Keepers with a record of their own from whom on no founders are needed (our judgement)."""

_TIES = """
WITH answering AS (
  SELECT w.by_id FROM people_deceit d
  JOIN people_voucher w ON w.keeper_id = d.keeper_id AND w.vouches AND w.position < d.position
  CROSS JOIN LATERAL (
    SELECT COALESCE(MIN(n.position), d.position) AS position FROM people_voucher n
    WHERE n.by_id = w.by_id AND n.keeper_id = w.keeper_id AND n.practice = w.practice
    AND n.position > w.position
  ) ended
  WHERE ended.position >= d.position OR EXISTS (
    SELECT FROM ledger_entry e WHERE e.by = d.keeper_id AND e.kind = ANY(%(spoken)s)
    AND e.position > w.position AND e.position < ended.position)
)
SELECT given.keeper,
       EXISTS (SELECT FROM people_deceit WHERE keeper_id = given.keeper),
       EXISTS (SELECT FROM people_founder WHERE keeper_id = given.keeper),
       EXISTS (SELECT FROM answering WHERE by_id = given.keeper),
       ARRAY(SELECT by_id FROM (
           SELECT DISTINCT ON (by_id) by_id, vouches FROM people_voucher
           WHERE keeper_id = given.keeper AND practice = '' ORDER BY by_id, position DESC) v
         WHERE vouches AND by_id NOT IN (SELECT by_id FROM answering)
           AND by_id NOT IN (SELECT keeper_id FROM people_deceit))
FROM unnest(%(keepers)s::uuid[]) AS given (keeper)
"""
"""Whether each keeper deceived, was named a founder, answered for somebody who deceived; and who
answers for them, but for those who deceived or answered for somebody who did: then, or when a call
of theirs or a statement on another's was accepted, so that nobody ends it in time."""
_SPOKEN: Final = ["call_made", "call_refiled", "document_read", "report_answered", "witness_stated"]
"""Kinds of facts that rest on the footing of whoever states them."""


def footing_of(keeper: UUID | None) -> Footing:
    """Why the keeper's word may verify a sex now; ``none``: it may not yet."""
    return "none" if keeper is None else footings_of([keeper])[keeper]


def footings_of(keepers: Iterable[UUID]) -> dict[UUID, Footing]:
    """The same of each of them."""
    ties, earned = _ties(keepers), _earned_now()
    return {keeper: _footing(keeper, tied, earned) for keeper, tied in ties.items()}


def _footing(keeper: UUID, tied: "_Ties", earned: Set[UUID]) -> Footing:
    if tied.deceived:
        return "none"
    if own := _own(keeper, earned, founder=tied.founder):
        return own
    return "vouched" if _independent(tied.vouchers) else "none"


def footed(calls: QuerySet[Call]) -> QuerySet[Call]:
    """Those whose sender's word had a footing then, and has not been found deceitful since."""
    return calls.exclude(footing="none").exclude(by__in=Deceit.objects.values("keeper"))


def rests_on_lost(animal: UUID, sex: Sex) -> bool:
    """Whether everybody without a share who checked it blind and came to this sex, with a footing
    then, has none now."""
    calls = Call.objects.filter(COUNTS, animal=animal, conclusion=sex, blind=True, interested=False)
    footed = calls.exclude(footing__in=("", "none")).values_list("by", flat=True).distinct()
    return {*footings_of(footed).values()} == {"none"}


def vouched_by(keeper: UUID) -> list[Voucher]:
    """What the keeper answers for now."""
    rows = Voucher.objects.filter(by=keeper).order_by("keeper", "practice", "-position")
    return [one for one in rows.distinct("keeper", "practice") if one.vouches]


def may_vouch(keeper: UUID) -> bool:
    """Whether they may answer for others. Those who are only answered for may not: so one finding
    of deceit ends all that its two vouchers stood for (our judgement)."""
    tied = _ties([keeper])[keeper]
    own = _own(keeper, _earned_now(), founder=tied.founder)
    return not tied.deceived and not tied.lost and own is not None


def founders_in_force() -> bool:
    """Whether the word of founders still counts for being theirs."""
    return _are_in_force(_earned_now())


def _are_in_force(earned: Set[UUID]) -> bool:
    return len(earned) < EARNED


class _Ties(NamedTuple):
    """``lost``: they answered for somebody who deceived."""

    deceived: bool
    founder: bool
    lost: bool
    vouchers: list[UUID]


def _ties(keepers: Iterable[UUID]) -> dict[UUID, _Ties]:
    rows = asked(_TIES, {"keepers": ids_literal(keepers), "spoken": _SPOKEN})
    return {keeper: _Ties(*tied) for keeper, *tied in rows}


def _own(keeper: UUID, earned: Set[UUID], *, founder: bool) -> Footing | None:
    if keeper in earned:
        return "record"
    return "founder" if founder and _are_in_force(earned) else None


def _independent(vouchers: Iterable[UUID]) -> bool:
    pairs = combinations(vouchers, VOUCHERS)
    return any(not share_a_collection(*pair) for pair in pairs)


def _earned_now() -> frozenset[UUID]:
    newest = NEWEST.ask()
    return _earned(newest[0][0]) if newest else frozenset()


@lru_cache(maxsize=8)
def _earned(newest: UUID) -> frozenset[UUID]:
    """Cached by the newest record's id, as `records_up_to` is."""
    return earned_by(latest_records())


def earned_by(records: Mapping[UUID, ExaminerRecordChanged]) -> frozenset[UUID]:
    """The examiners whose own record gives their word a footing."""
    return frozenset(who for who, record in records.items() if gives_footing(record))


def gives_footing(record: ExaminerRecordChanged) -> bool:
    """Whether a record of one's own does."""
    counts = [one for one in record.counts if one.method not in DEFAULT_POLICY.excluded]
    wrong = sum(one.wrong for one in counts)
    calls = wrong + sum(one.right for one in counts)
    if record.role != "keeper" or record.hosts < HOSTS or calls < CALLS or wrong * WRONG > calls:
        return False
    return decide(PLAN, wrong, calls) != "not_qualified"
