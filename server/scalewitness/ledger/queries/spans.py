"""All that entries are about, in spans of about as many entries."""

from uuid import UUID

from scalewitness.ledger.queries.prepared import asked

AT_ONCE = 4_000
"""Entries in a span, unless those about a single thing are more (our judgement)."""


def bounds(size: int) -> list[UUID]:
    """What parts the subjects of the first ``size`` entries into such spans, in order."""
    return [about for (about,) in asked(BOUNDS, (AT_ONCE, size))][1:]


BOUNDS = """
SELECT DISTINCT ON (span) about FROM (
  SELECT about, div(sum(count(*)) OVER (ORDER BY about) - 1, %s) AS span FROM ledger_entry
  WHERE about IS NOT NULL AND position < %s GROUP BY about
) AS counted ORDER BY span, about
"""
