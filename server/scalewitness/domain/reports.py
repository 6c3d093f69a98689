"""What the record makes of a report once somebody spoke of it: pure functions of values.

A report is a call that its examiner did not send, or eggs that only an interested keeper saw.
"""

from typing import Literal

from scalewitness.domain.sexing.evidence import Report

Spoken = Literal["unconfirmed", "confirmed", "denied"]
"""A report that somebody spoke of."""


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
