"""What standings are measured by, as it was adopted, stated and settled last."""

from collections.abc import Mapping
from typing import NamedTuple
from uuid import UUID

from scalewitness.domain.sexing.gauge import Numbers
from scalewitness.domain.sexing.parameters import load_parameters, released
from scalewitness.ledger.queries.prepared import PreparedQuery, asked
from scalewitness.standings.queries.numbers import adopted_numbers

LATEST = """
SELECT policy.version, policy.parameters, policy.thresholds, stated.parameters,
  learned.id, learned.version, record.id
FROM (VALUES (%(until)s::bigint)) AS given (until)
LEFT JOIN LATERAL (SELECT version, parameters, thresholds FROM calls_adoptedpolicy
  WHERE position <= given.until ORDER BY position DESC LIMIT 1) AS policy ON true
LEFT JOIN LATERAL (SELECT parameters FROM calls_standing
  WHERE position <= given.until ORDER BY position DESC LIMIT 1) AS stated ON true
LEFT JOIN LATERAL (SELECT id, version FROM standings_adoptednumbers
  WHERE position <= given.until ORDER BY position DESC LIMIT 1) AS learned ON true
LEFT JOIN LATERAL (SELECT id FROM calls_examinerrecord
  WHERE position <= given.until ORDER BY position DESC LIMIT 1) AS record ON true
"""
EVER = 2**62
"""After any log position."""


class AdoptedRule(NamedTuple):
    """A policy as its adoption gives it: decimal strings by name."""

    version: str
    parameters: str
    thresholds: Mapping[str, str]


class InForce(NamedTuple):
    """The ``policy`` adopted last; ``stated_by``: the numbers that the latest standing names;
    ``learned``: the adoption of learned numbers, and their version; ``record``: the newest of the
    examiners' records. Each None where there was none."""

    policy: AdoptedRule | None
    stated_by: str | None
    learned: tuple[UUID, str] | None
    record: UUID | None

    def numbers_on(self, base: str) -> Numbers:
        """What is in force where the record is kept by the released version ``base``: the latest
        that was learned on it, else itself."""
        if self.learned and released(self.learned[1]) == base:
            return adopted_numbers(self.learned[0])
        return Numbers(load_parameters(base))


def in_force(at: int | None = None) -> InForce:
    """As of log position ``at``, now when None."""
    ((version, parameters, thresholds, stated_by, learned, learned_as, record),) = asked(
        *in_force_question(at)
    )
    return InForce(
        AdoptedRule(version, parameters, thresholds) if version else None,
        stated_by,
        (learned, learned_as) if learned else None,
        record,
    )


def in_force_question(at: int | None = None) -> PreparedQuery:
    """What `in_force` asks."""
    return PreparedQuery(LATEST, {"until": EVER if at is None else at})
