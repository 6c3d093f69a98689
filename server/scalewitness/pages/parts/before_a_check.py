"""What is said before a check, on every page that leads to one."""

from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from scalewitness.domain.cautions import BEFORE_A_CHECK


def before_a_check(request: HttpRequest) -> dict[str, Any]:
    """The cautions: open on the page that shows them first each day, in the reader's time, and
    folded to one line after that, in that browser. They are left out nowhere."""
    today, read = timezone.localdate().isoformat(), request.session.get("cautioned")
    if read != today:
        request.session["cautioned"] = today
    return {"cautions": BEFORE_A_CHECK, "unread": read != today}
