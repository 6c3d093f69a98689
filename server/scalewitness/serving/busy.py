"""What is answered where there is too much to do, or something is held up: 503, come again."""

from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from scalewitness.api import problems
from scalewitness.domain.errors import Busy, OutcomeUnknown, Refused
from scalewitness.pages import errors

API = "/api/"
"""Below it callers read problems, elsewhere people read pages."""
PASSING = (OperationalError, Busy)
"""Faults that are nobody's doing here: no connection came in time, a statement waited too long
for a lock or ran for too long, the database is away."""


def come_again(path: str, why: Refused | None = None) -> HttpResponse:
    """A problem for the API's callers, a page for everyone else. Asks nothing of anybody, so
    that it can be given when nothing else can. ``why``: `Busy` unless it is said."""
    reason = why or Busy()
    if path.startswith(API):
        answer: HttpResponse = problems.as_answer(reason)
    elif isinstance(reason, OutcomeUnknown):
        answer = errors.outcome_unknown(reason.retry_after)
    else:
        answer = errors.busy(reason.retry_after if isinstance(reason, Busy) else Busy.retry_after)
    answer.headers["Cache-Control"] = "no-store"
    return answer


class AnswerWhenBusy:
    """Middleware: what is held up in a view is no fault of ours to report, and may go well a
    moment later. The API's operations tell it themselves."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, PASSING):
            return None
        return come_again(request.path, problems.passing(exception, request.method))
