"""Who is at the page, and how a page is answered."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from urllib.parse import quote

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows.reauthentication import is_reauthentication_required
from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import add_never_cache_headers
from django.utils.html import format_html

from scalewitness.domain.errors import LinkGone, NotFound
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.pages.parts.facts import FactForm
from scalewitness.pages.parts.stating import at_page, is_asking, to_sign
from scalewitness.people.models import Keeper
from scalewitness.sign_in.queries import must_set_one_up

P = ParamSpec("P")
ForKeeper = Callable[Concatenate[HttpRequest, Keeper, P], HttpResponse]
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def signed_in(view: ForKeeper[P]) -> View[P]:
    """For keepers only; what they may not see answers 404, as what does not exist. Where the
    operator asks for a second factor, whoever has none is led to set it up first. Nowhere else is
    a form asked what it states (`stating.to_sign`): elsewhere the header means nothing."""

    @wraps(view)
    def answer(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        keeper = request.user
        if not isinstance(keeper, Keeper):
            return redirect(f"{settings.LOGIN_URL}?next={quote(request.get_full_path())}")
        if must_set_one_up(keeper.pk):
            return redirect("mfa_index")
        try:
            with at_page(request):
                response = (
                    to_sign(request, lambda: view(request, keeper, *args, **kwargs))
                    if is_asking(request)
                    else view(request, keeper, *args, **kwargs)
                )
        except (NotFound, LinkGone):
            raise Http404 from None
        add_never_cache_headers(response)
        return response

    return answer


def asked_again(view: View[P]) -> View[P]:
    """For what is grave: only shortly after the keeper gave their second factor once more, or
    their password where they have none (``ACCOUNT_REAUTHENTICATION_TIMEOUT``). Asked before the
    form is shown, so that nothing typed need be kept meanwhile."""

    @wraps(view)
    def answer(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if request.user.is_authenticated and is_reauthentication_required(request, app=""):
            ways = get_adapter(request).get_reauthentication_methods(request.user)
            return redirect(f"{ways[0]['url']}?next={quote(request.get_full_path())}")
        return view(request, *args, **kwargs)

    return answer


def post_or_go(name: str, *, of_it: bool = True) -> Callable[[View[P]], View[P]]:
    """For addresses that only take a form: whoever merely opens one is sent to the page it
    belongs to, ``of_it`` with the first part of the address."""

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def answer(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if request.method == "POST":
                return view(request, *args, **kwargs)
            return redirect(name, *list(kwargs.values())[:1]) if of_it else redirect(name)

        return answer

    return decorate


def actor_of(keeper: Keeper, *, proved: bool = False) -> Actor:
    """The keeper as intake knows them; a page is no enrolled device. ``proved``: on a page that
    is `asked_again`."""
    return Actor(keeper=keeper.pk, proved=proved)


def say_accepted(request: HttpRequest, outcome: Outcome, words: str = "Accepted at") -> None:
    """On the next page: where in the log it stands, with the way to its receipt."""
    place, receipt = f"{words} position {outcome.position}.", reverse("receipt", args=[outcome.id])
    messages.success(request, format_html('{} <a href="{}">Receipt</a>', place, receipt))


def page(
    request: HttpRequest,
    template: str,
    context: Mapping[str, Any] | None = None,
    form: FactForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """The rendered page. With a form its status tells whether something was refused."""
    shown = dict(context or {})
    if form is not None:
        shown["form"], status = form, form.status
    return render(request, template, shown, status=status)
