"""A form that is sent to learn what there is to sign changes nothing."""

from collections.abc import Callable

from django.contrib.messages.storage import default_storage
from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse

from scalewitness.pages.parts.stating import ToSign, at_page, is_asking


class SignInTheBrowser:
    """Middleware: facts are said by its request (`parts.stating`). The innermost: whatever a view
    writes for a form that only asks is taken back, and of its answer nothing is sent but the facts
    to be signed. Where there are none (it is no such form, was filled in wrongly, or cannot be
    taken just now) the browser sends the form as ever, and its reader sees why."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with at_page(request):
            if not is_asking(request):
                return self.get_response(request)
            with transaction.atomic():
                answer = self.get_response(request)
                transaction.set_rollback(True)
        if not isinstance(answer, _Facts):
            request._messages = default_storage(request)  # type: ignore[attr-defined]
            answer = HttpResponse(status=204)
        answer.headers["Cache-Control"] = "no-store"
        return answer

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, ToSign):
            return None
        return _Facts({"keeper": str(request.user.pk), "facts": exception.facts})


class _Facts(JsonResponse):
    """Facts to be signed."""
