"""Numbers for the operator, in the Prometheus text format; nothing about anyone."""

import json
from collections.abc import Callable, Iterable
from hmac import compare_digest

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from scalewitness.disclosures.queries import unacknowledged
from scalewitness.ledger.models import WitnessPush
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.queries.witnesses import push_states
from scalewitness.mail.queries import letters_by_state
from scalewitness.rate_limit import is_answered

_OF_WITNESSES: tuple[tuple[str, str, Callable[[WitnessPush], int]], ...] = (
    ("size", "Entries that an outside witness has seen.", lambda state: state.size),
    ("failures", "Its refusals since it last cosigned.", lambda state: state.failures),
    ("status", "Its last answer; 0 where there was none.", lambda state: state.status or 0),
)
CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


def metrics(request: HttpRequest) -> HttpResponseBase:
    """`GET /metrics`, for whoever has the operator's token; to anybody else, and under any method,
    it is not there."""
    if not _is_operator(request.headers.get("Authorization", "")):
        raise Http404
    return _numbers(request)


def _is_operator(authorization: str) -> bool:
    scheme, _, token = authorization.partition(" ")
    expected = settings.METRICS_TOKEN.encode()
    right = compare_digest(token.strip().encode(), expected)
    return bool(expected) and right and scheme.lower() == "bearer"


@require_safe
@never_cache
def _numbers(request: HttpRequest) -> HttpResponse:
    return HttpResponse("\n".join([*_lines(), ""]), content_type=CONTENT_TYPE)


def _lines() -> Iterable[str]:
    yield from _about("scalewitness_log_size", "Entries in the log.")
    yield f"scalewitness_log_size {tip().size}"
    yield from _about("scalewitness_log_fenced", "1 while the log can only be read.")
    yield f"scalewitness_log_fenced {int(standing_fence() is not None)}"
    yield from _about("scalewitness_letters", "Letters owed, by state.")
    for state, count in letters_by_state().items():
        yield f'scalewitness_letters{{state="{state}"}} {count}'
    yield from _about("scalewitness_broker_up", "0 while the queue server does not answer.")
    yield f"scalewitness_broker_up {int(is_answered())}"
    name = "scalewitness_disclosures_unacknowledged"
    yield from _about(name, "Disclosures that their buyer has not acknowledged.")
    yield f"{name} {unacknowledged()}"
    yield from _witnesses()


def _witnesses() -> Iterable[str]:
    """By the witness's own name, as its operator chose it."""
    states = push_states()
    for noun, text, number in _OF_WITNESSES if states else ():
        yield from _about(f"scalewitness_witness_{noun}", text)
        for target, state in states:
            name = json.dumps(target.key.name, ensure_ascii=False)  # its escapes fit here too
            yield f"scalewitness_witness_{noun}{{name={name}}} {number(state)}"


def _about(name: str, text: str) -> Iterable[str]:
    yield f"# HELP {name} {text}"
    yield f"# TYPE {name} gauge"
