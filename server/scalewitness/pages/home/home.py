"""The first page: what waits, and what one keeps."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.animals.queries import stewarded_collections
from scalewitness.pages.collections.collection import counted
from scalewitness.pages.home.pending import GROUPS
from scalewitness.pages.home.today import pending
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.people.models import Keeper


def home(request: HttpRequest) -> HttpResponse:
    if not request.user.is_authenticated:
        return page(request, "home/welcome.html")
    return desk(request)


@signed_in
def desk(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    now = timezone.now()
    collections = counted(stewarded_collections(keeper.pk, now))
    waiting = pending(keeper, now)
    groups = [(words, waiting[name]) for name, words in GROUPS.items()]
    first_run = not any(one.labels for one in collections)
    needed = any(found for _, found in groups)
    context = {"groups": groups, "collections": collections, "first_run": first_run,
               "steps_first": first_run and not needed}  # fmt: skip
    return page(request, "home/desk.html", context)


def about(request: HttpRequest) -> HttpResponse:
    """What the record promises, and when not to use it."""
    return page(request, "home/about.html")
