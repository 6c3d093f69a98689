"""The season as it happens: its calendar, one pairing's season, noting, and the link by which a
calendar program follows it."""

from functools import partial
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_safe

from scalewitness.breeding import services
from scalewitness.breeding.queries.calendar import (
    InSeason,
    StatedOf,
    calendar_entries,
    due,
    keeper_by_link,
    link_in_force,
    season_seen,
    seasons_seen,
    stated_of,
)
from scalewitness.domain.errors import NotFound
from scalewitness.domain.season.events import EVENTS, SEEN, offered
from scalewitness.domain.season.icalendar import calendar_file
from scalewitness.fresh_ids import fresh_id
from scalewitness.pages.breeding.season_notes import NoteWithdrawalForm, SeasonNoteForm
from scalewitness.pages.breeding.seasons_in_words import (
    as_row,
    cautions_of,
    due_in_words,
    in_detail,
    titled,
)
from scalewitness.pages.guards.throttling import opens_nothing
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.listing import listed
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of

NAME = "Season"
MAKER = "-//Scalewitness//Season//EN"


@signed_in
def show_calendar(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """What is due this week, then every pairing of these seasons with what was seen and what is
    expected."""
    now = timezone.now()
    found = seasons_seen(keeper.pk, now)
    today = timezone.localdate(now)
    rows = listed(request, found)
    token = link_in_force(keeper.pk)
    context = {
        "due": [due_in_words(one) for one in due(found, today)],
        "rows": [as_row(one, today) for one in rows],
        "listed": rows,
        "link": token and settings.PUBLIC_URL + reverse("calendar_by_link", args=[token]),
    }
    return page(request, "breeding/calendar.html", context)


@signed_in
def show_season(request: HttpRequest, keeper: Keeper, pairing_id: UUID) -> HttpResponse:
    return _season_page(request, keeper, season_seen(keeper.pk, pairing_id, timezone.now()))


def _season_page(
    request: HttpRequest,
    keeper: Keeper,
    one: InSeason,
    refused: NoteWithdrawalForm | None = None,
) -> HttpResponse:
    names = names_of({note.by for note in one.notes})
    dam, now = one.seen.dam, timezone.now()
    stated = stated_of(dam.pk, keeper.pk, now) if dam and one.whole else StatedOf((), ())
    context: dict[str, Any] = in_detail(one, names, stated)
    context |= {
        "row": as_row(one, timezone.localdate()),
        "events": [(what, SEEN[what]) for what in offered(one.figures.mode.mode)],
        "refused": refused,
    }
    status = refused.status if refused else 200
    return page(request, "breeding/season_of.html", context, status=status)


@signed_in
def note(request: HttpRequest, keeper: Keeper, pairing_id: UUID) -> HttpResponse:
    """Of the event that ``what`` names."""
    one = season_seen(keeper.pk, pairing_id, timezone.now())
    what = request.GET.get("what", "seen_together")
    if what not in EVENTS:
        raise Http404
    initial = {"on": timezone.localdate()}
    form = SeasonNoteForm(request.POST or None, what=what, initial=initial)
    if form.is_valid():
        outcome = form.send(pairing_id, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "Noted at")
            return redirect("pairing_season", pairing_id)
    back = reverse("pairing_season", args=[pairing_id])
    cautions = cautions_of(what, one)
    context = {"title": titled(one), "what": SEEN[what], "back": back, "cautions": cautions}
    return page(request, "breeding/note.html", context, form)


@post_or_go("pairing_season")
@signed_in
def withdraw(request: HttpRequest, keeper: Keeper, pairing_id: UUID, note_id: UUID) -> HttpResponse:
    form = NoteWithdrawalForm(note_id, request.POST)
    if form.is_valid():
        outcome = form.send(pairing_id, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "The note is withdrawn at")
            return redirect("pairing_season", pairing_id)
    return _season_page(request, keeper, season_seen(keeper.pk, pairing_id, timezone.now()), form)


@post_or_go("calendar", of_it=False)
@signed_in
def change_link(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """A new link in place of the one before, or none."""
    now = timezone.now()
    if request.POST.get("do") == "end":
        services.end_calendar_link(keeper.pk, now)
        messages.success(request, "The link opens nothing any more.")
    else:
        services.make_calendar_link(keeper.pk, fresh_id(now), now)
        messages.success(request, "Here is a new link. One that you had before opens nothing now.")
    return redirect("calendar")


@require_safe
def by_link(request: HttpRequest, token: str) -> HttpResponse:
    """The file for a calendar program; the link is the only key. Looked at each time with what its
    keeper may see then."""
    try:
        keeper = keeper_by_link(token)
    except NotFound:
        return _gone(request)
    found = seasons_seen(keeper, timezone.now())
    host = settings.PUBLIC_URL.partition("://")[2]
    file = calendar_file(NAME, MAKER, calendar_entries(found, host))
    response = HttpResponse(file, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="season.ics"'
    response["Referrer-Policy"] = "no-referrer"
    patch_cache_control(response, private=True, max_age=0)
    return response


def _gone(request: HttpRequest) -> HttpResponse:
    words = "This link opens nothing.\n"
    return opens_nothing(request, partial(HttpResponse, words, content_type="text/plain"))
