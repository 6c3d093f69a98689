"""A keeper's list, from the file to the record: brought, looked through line by line, confirmed."""

from dataclasses import dataclass
from hashlib import sha256
from time import monotonic
from typing import Any, Final
from urllib.parse import urlencode
from uuid import UUID

import msgspec
from django.contrib import messages
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from scalewitness.animals.queries import stewarded_collections
from scalewitness.domain.errors import Busy, NotFound, SignatureRequired
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.tables.drafts import ListedAnimal
from scalewitness.domain.tables.files import written
from scalewitness.domain.tables.lines import ListLine
from scalewitness.domain.tables.plan import ImportPlan, refused_rows
from scalewitness.importing.models import Upload
from scalewitness.importing.queries import answers_of, planned, table_of, upload_of
from scalewitness.importing.services.bringing import answer, bring, forget, forget_old
from scalewitness.importing.services.storing import store, waiting
from scalewitness.mail.templatetags.words import day, weight
from scalewitness.pages.importing.forms import AnswersForm, FileForm
from scalewitness.pages.parts.access import actor_of, page, post_or_go, signed_in
from scalewitness.pages.parts.facts import new_id
from scalewitness.pages.parts.listing import listed
from scalewitness.people.models import Keeper
from scalewitness.people.queries.own_word import ruled
from scalewitness.rate_limit import one_too_many
from scalewitness.waiting import was_held_up

SHOWN: Final = 100
"""Lines on a page: a list is looked through more quickly than a page is fetched (our judgement)."""
MOST_FILES, SECONDS = 30, 600
"""Files of one keeper in so many seconds (our judgement)."""
TOO_OFTEN: Final = "That was many files in ten minutes. Wait a little, then send it again."
AT_A_STRETCH: Final = 5.0
"""Seconds that one request goes on storing, so that its sender sees how far it is."""
SORTS: Final = (
    ("new", "Will be stored"),
    ("stored", "Stored"),
    ("waits", "Waiting for an answer"),
    ("cannot", "Cannot be stored"),
    ("here", "Already here"),
    ("aside", "No animals"),
)


@dataclass(frozen=True, slots=True)
class Shown:
    """A line as its keeper reads it. ``what``: the animal, or the line as it stands."""

    line: ListLine
    what: str
    why: str


@signed_in
def bring_list(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """Nothing of it is on record by this."""
    collections = stewarded_collections(keeper.pk, timezone.now())
    may = bool(collections)
    wanted = {"collection": request.GET.get("collection", "")}
    form = FileForm(
        request.POST or None, request.FILES or None, collections=collections, initial=wanted
    )
    if request.method == "POST" and one_too_many(
        f"throttle_lists_{keeper.pk}", MOST_FILES, SECONDS
    ):
        messages.error(request, TOO_OFTEN)
        return _bring_page(request, keeper, FileForm(collections=collections), may, 429)
    if not form.is_valid():
        status = (Busy.status if form.busy else 422) if form.errors else 200
        return _bring_page(request, keeper, form, may, status)
    now = timezone.now()
    forget_old(now)
    chosen = next(one for one in collections if str(one.pk) == form.cleaned_data["collection"])
    upload = bring(UUID(new_id()), keeper, chosen, form.name, form.cleaned_data["file"], now)
    return redirect("look_at_list", upload.pk)


def _bring_page(
    request: HttpRequest, keeper: Keeper, form: FileForm, may: bool, status: int
) -> HttpResponse:
    context = {"form": form, "may": may, "signs_all": _signs_all(keeper)}
    response = page(request, "importing/bring.html", context, status=status)
    if status in (429, Busy.status):
        response.headers["Retry-After"] = str(Busy.retry_after if status != 429 else SECONDS)
    return response


@signed_in
def look_at_list(request: HttpRequest, keeper: Keeper, upload_id: UUID) -> HttpResponse:
    """What would become of every line; what is answered changes only that."""
    upload = _own(keeper, upload_id)
    plan, table = planned(upload, timezone.now()), table_of(upload)
    answers = answers_of(upload)
    form = AnswersForm(request.POST or None, table=table, plan=plan, answers=answers)
    if form.is_valid():
        answer(upload, form.answers())
        return redirect("look_at_list", upload.pk)
    status = 422 if form.errors else 200
    return page(
        request, "importing/look.html", _looked_at(request, upload, plan, form), None, status
    )


def _looked_at(
    request: HttpRequest, upload: Upload, plan: ImportPlan, form: AnswersForm
) -> dict[str, Any]:
    sorts = _sorted(upload, plan)
    named = request.GET.get("show", "")
    show = next(one for one in (named, "cannot", *sorts) if sorts.get(one))
    left = len(waiting(upload, plan.lines))
    asked = form.questions()
    return {
        "upload": upload,
        "how": table_of(upload).how,
        "collection": upload.collection,
        "plan": plan,
        "form": form,
        "questions": [(one, fields) for one, fields in asked if not one.answer],
        "answered": [(one, fields) for one, fields in asked if one.answer],
        "sorts": [(name, words, len(sorts[name])) for name, words in SORTS if sorts[name]],
        "show": show,
        "asked": urlencode({"show": show}),
        "listed": listed(request, sorts[show], SHOWN),
        "left": left,
        "stored": len(upload.stored),
        "whole": left + len(upload.stored),
        "going": bool(left and upload.stored and request.GET.get("going")),
        "seen": _seen(upload),
        "total": len(plan.lines),
        "refused": bool(sorts["cannot"] or sorts["waits"]),
        "signs_all": _signs_all(upload.keeper),
    }


def _sorted(upload: Upload, plan: ImportPlan) -> dict[str, list[Shown]]:
    """Every line under what becomes of it, or became."""
    found: dict[str, list[Shown]] = {name: [] for name, _ in SORTS}
    stored, refused = set(upload.stored), {int(one): why for one, why in upload.refused.items()}
    for line in plan.lines:
        sort = line.state
        if line.number in stored:
            found["stored"].append(Shown(line, _as_it_stands(line), ""))
        elif line.number in refused and sort == "new":
            found["cannot"].append(Shown(line, _as_it_stands(line), refused[line.number]))
        else:
            what = _in_words(line.draft) if sort == "new" and line.draft else _as_it_stands(line)
            found["waits" if line.waits else sort].append(Shown(line, what, line.why))
    return found


def _as_it_stands(line: ListLine) -> str:
    if line.row.why is not None:
        return "".join(line.row.lines).strip()[:200]
    return " · ".join(text for text in line.row.texts if text)[:300]


def _in_words(draft: ListedAnimal) -> str:
    sex = f"said to be {draft.sex}{', unsure' * (not draft.sure)}" if draft.sex else ""
    weighed = f"{weight(draft.grams)} on {day(draft.weighed)}" if draft.grams else ""
    hatched = f"hatched {day(draft.hatched)}" if draft.hatched else ""
    parents = [f"{role} {one.named}" for role, one in draft.parents.items()]
    parts = [draft.tag, draft.transponder, draft.name, taxon(draft.species).common, sex, hatched,
             *parents, weighed, ", ".join(draft.traits), draft.rack]  # fmt: skip
    return " · ".join(filter(None, parts))


@post_or_go("look_at_list")
@signed_in
def store_list(request: HttpRequest, keeper: Keeper, upload_id: UUID) -> HttpResponse:
    """What was looked at goes on record; for some seconds, then the page tells how far it is."""
    upload = _own(keeper, upload_id)
    if request.POST.get("seen") != _seen(upload):
        messages.warning(
            request, "Your answers are others by now. Look through the lines once more."
        )
        return redirect("look_at_list", upload.pk)
    try:
        left = _stored_for_a_while(request, upload, keeper)
    except SignatureRequired:
        messages.warning(request, "Nothing of it was stored just now: it takes a signature.")
        return redirect("look_at_list", upload.pk)
    if left:
        return redirect(f"{reverse('look_at_list', args=[upload.pk])}?going=yes")
    _say_done(request, upload)
    return redirect(f"{reverse('look_at_list', args=[upload.pk])}?show=cannot")


def _stored_for_a_while(request: HttpRequest, upload: Upload, keeper: Keeper) -> int:
    """How many are left. Where the log was not free in time, the page goes on by itself as long as
    some are stored."""
    until = monotonic() + AT_A_STRETCH
    try:
        return store(upload, actor_of(keeper), timezone.now, lambda: monotonic() > until)
    except (Busy, OperationalError) as fault:
        if not (isinstance(fault, Busy) or was_held_up(fault)):
            raise
        messages.warning(
            request, "The record is busy. What is stored is stored; go on in a moment."
        )
        return len(waiting(upload, planned(upload, timezone.now()).lines))


def _say_done(request: HttpRequest, upload: Upload) -> None:
    number = len(upload.stored)
    messages.success(request, f"{number} animal{'' if number == 1 else 's'} stored.")
    if upload.elsewhere:
        numbers = ", ".join(upload.elsewhere[:20])
        messages.warning(
            request,
            f"Known elsewhere, as other records bore them first: {numbers}. You are told what to "
            "do by letter, and on the pages of these animals.",
        )


@signed_in
def download_refused(request: HttpRequest, keeper: Keeper, upload_id: UUID) -> HttpResponse:
    """The lines that were not stored, each with why, to be put right and brought again."""
    upload = _own(keeper, upload_id)
    plan = planned(upload, timezone.now())
    sorts = _sorted(upload, plan)
    reasons = {one.line.number: one.why for one in (*sorts["cannot"], *sorts["waits"])}
    head, rows = refused_rows(plan, table_of(upload), reasons)
    # With the mark that tells spreadsheets that it is UTF-8.
    answered = HttpResponse("\ufeff" + written(head, rows), content_type="text/csv; charset=utf-8")
    answered.headers["Content-Disposition"] = 'attachment; filename="not-stored.csv"'
    return answered


@post_or_go("look_at_list")
@signed_in
def forget_list(request: HttpRequest, keeper: Keeper, upload_id: UUID) -> HttpResponse:
    upload = _own(keeper, upload_id)
    collection = upload.collection_id
    forget(upload)
    messages.success(request, "The list is deleted. What it stored stays.")
    return redirect("collection", collection)


def _signs_all(keeper: Keeper) -> bool:
    """Whether no list is stored from a page, by a rule of the keeper's."""
    return ruled(keeper.pk, timezone.now()).required


def _own(keeper: Keeper, upload_id: UUID) -> Upload:
    """Raises NotFound: somebody else's, too old, or there is none."""
    upload = upload_of(upload_id, keeper.pk, timezone.now())
    if upload is None:
        raise NotFound()
    return upload


def _seen(upload: Upload) -> str:
    """What the lines that were looked at follow from: the list as read, and the answers."""
    content = msgspec.json.encode(upload.answers, order="deterministic")
    return sha256(upload.pk.bytes + content).hexdigest()[:16]
