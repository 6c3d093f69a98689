"""Numbers for the operator, in the Prometheus text format; nothing about anyone."""

from collections.abc import Iterable

from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from scalewitness.disclosures.queries import unacknowledged
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import tip
from scalewitness.mail.queries import letters_by_state

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


@require_safe
@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """`GET /metrics`."""
    return HttpResponse("\n".join([*_lines(), ""]), content_type=CONTENT_TYPE)


def _lines() -> Iterable[str]:
    yield from _about("scalewitness_log_size", "Entries in the log.")
    yield f"scalewitness_log_size {tip().size}"
    yield from _about("scalewitness_log_fenced", "1 while the log can only be read.")
    yield f"scalewitness_log_fenced {int(standing_fence() is not None)}"
    yield from _about("scalewitness_letters", "Letters owed, by state.")
    for state, count in letters_by_state().items():
        yield f'scalewitness_letters{{state="{state}"}} {count}'
    name = "scalewitness_disclosures_unacknowledged"
    yield from _about(name, "Disclosures that their buyer has not acknowledged.")
    yield f"{name} {unacknowledged()}"


def _about(name: str, text: str) -> Iterable[str]:
    yield f"# HELP {name} {text}"
    yield f"# TYPE {name} gauge"
