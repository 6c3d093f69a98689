"""What the log guarantees, and a check of receipts in the reader's own browser."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from scalewitness.ledger.services.signing import log_signer
from scalewitness.pages.access import page


def show_log(request: HttpRequest) -> HttpResponse:
    """For everyone, also while the log is fenced: receipts are checked without it."""
    return page(request, "log/log.html", {"keys": log_keys()})


def log_keys() -> list[str]:
    """Verifier keys of the log, the present one first."""
    return [str(log_signer().verifier), *settings.LOG_RETIRED_KEYS]
