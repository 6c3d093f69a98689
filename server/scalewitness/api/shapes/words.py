"""Closed words as the OpenAPI document lists them; the rows hold them as text."""

from typing import Annotated, get_args

from msgspec import Meta

from scalewitness.domain import facts, observations
from scalewitness.domain.sales import State


def one_of(*words: str) -> Meta:
    """Marks a string that is one of these."""
    return Meta(extra_json_schema={"enum": sorted(words)})


Label = Annotated[str, one_of(*get_args(facts.Label))]
Method = Annotated[str, one_of(*get_args(observations.Method))]
Conclusion = Annotated[str, one_of(*get_args(observations.Conclusion))]
Role = Annotated[str, one_of("keeper", "veterinarian", "laboratory", "earlier_keeper")]
GrantRole = Annotated[str, one_of("partner", "viewer")]
GrantState = Annotated[str, one_of("to_come", "waiting", "in_force", "over", "ended")]
SaleState = Annotated[str, one_of(*get_args(State))]
VisitState = Annotated[str, one_of("invited", "accepted", "open", "over", "declined", "cancelled")]
LetterState = Annotated[str, one_of("waiting", "sending", "sent", "failed", "returned", "joined")]
Share = Annotated[str, Meta(pattern=r"^[01]\.[0-9]{6}$", description="A probability.")]
