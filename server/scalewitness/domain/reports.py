"""What the record makes of a report once somebody spoke of it: pure functions of values.

A report is a call that its examiner did not send, or eggs that only an interested keeper saw.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final, Literal, NamedTuple
from uuid import UUID

from scalewitness.domain.parents import TO_HATCH
from scalewitness.domain.sexing.evidence import Report

Spoken = Literal["unconfirmed", "confirmed", "denied"]
"""A report that somebody spoke of."""


CLUTCH: Final = (timedelta(days=-7), TO_HATCH)
"""Young hatch or are born so long after what a call says was seen: from slugs found some days later
(our judgement) to the longest incubation."""


def is_of_clutch(hatched: date | None, seen: date) -> bool:
    """Whether young that hatched then may be of eggs, or of a birth, that were seen so."""
    return hatched is not None and CLUTCH[0] <= hatched - seen <= CLUTCH[1]


class Quoted(NamedTuple):
    """What is said of an animal in a practitioner's name: as what, and who sends it, or would."""

    practitioner: UUID
    role: str
    by: UUID
    animal: UUID


class Remark(NamedTuple):
    """What somebody said of a report: an answer of whom it names, at an address ``proved``
    independently of the sender or not; None: a statement by somebody without a share in it."""

    answer: Literal["confirmed", "denied"] | None
    proved: bool = False


def after_all(before: Report, remarks: Iterable[Remark]) -> Report:
    """What a report is after all that was said of it, in that order."""
    for one in remarks:
        if one.answer is None:
            before = after_statement(before)
        else:
            before = after_answer(before, one.answer, proved=one.proved)
    return before


def after_answer(before: Report, answer: Literal["confirmed", "denied"], *, proved: bool) -> Spoken:
    """Whom the report names answered, at an address ``proved`` independently of the sender or
    not. An address that the sender gave confirms nothing. A denial from there stands unless
    somebody confirmed it: nobody gains by denying through an address that they chose (our
    judgement)."""
    if proved:
        return answer
    if before == "unconfirmed":
        return "denied" if answer == "denied" else "unconfirmed"
    return as_spoken(before)


def after_statement(before: Report) -> Spoken:
    """Somebody without a share in it read the document or saw the young. That outweighs nobody's
    denial."""
    return "denied" if before == "denied" else "confirmed"


def as_spoken(report: Report) -> Spoken:
    """Raises ValueError: nobody can speak of a call that is its examiner's own."""
    if report == "own":
        raise ValueError("the examiner's own call is no report")
    return report
