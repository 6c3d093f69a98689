"""What the log guarantees, and a check of receipts in the reader's own browser."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from scalewitness.ledger.models import Succession
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.ledger.queries.origins import name_of, successions
from scalewitness.ledger.services.signing import keys_of_all_notes
from scalewitness.pages.parts.access import page


def show_log(request: HttpRequest) -> HttpResponse:
    """For everyone, also while the log is fenced: receipts are checked without it."""
    shown = {
        "keys": log_keys(),
        "closed": list(map(_closed, successions())),
        "signs_within": _in_words(settings.LOG_SIGNS_WITHIN),
    }
    return page(request, "log/log.html", shown)


def _in_words(seconds: int) -> str:
    if seconds < 7200:
        return f"in {seconds // 60} minutes"
    return f"in {seconds // 3600} hours"


def _closed(one: Succession) -> dict[str, object]:
    return {
        "old": name_of(one.old_key),
        "new": name_of(one.new_key),
        "kept": one.position,
        "missing": one.missing,
        "last": one.position + one.missing - 1,
        "at": one.at,
        "statement": texts_of([one.id]).get((one.id, "statement"), ""),
    }


def log_keys() -> list[str]:
    """Verifier keys of the log, the present one first."""
    return list(map(str, keys_of_all_notes()))
