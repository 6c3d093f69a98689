"""What to check next, on a visit or on one animal, and what it might do. Records nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from scalewitness.animals.queries import title_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.disputes.queries import at_stake, by_need
from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.planning import Check, RuledOut
from scalewitness.pages.animals.animal import stewarded_animal
from scalewitness.pages.animals.planning_forms import SupposeForm, VisitPlanForm
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.people.models import Keeper
from scalewitness.planning.available import Examiners, examiners_for
from scalewitness.planning.plans import WEIGHED, plan_animal, plan_visit, planning_numbers
from scalewitness.planning.supposing import suppose


@dataclass(frozen=True, slots=True)
class Named:
    """An animal with what is said of it."""

    animal: str
    title: str
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedCheckLine:
    """One check in words. ``ask``: where to see what it would do to the standing."""

    animal: str
    title: str
    method: str
    who: str
    minutes: int
    reasons: tuple[str, ...]
    ask: str


@dataclass(frozen=True, slots=True)
class RuledOutLine:
    """Checks that share a method and the reasons against them."""

    method: str
    who: str
    why: tuple[str, ...]


@signed_in
def plan_a_visit(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection, now = stewarded(keeper, collection_id), timezone.now()
    needy = by_need(collection).prefetch_related("identifiers")
    listed = Paginator(needy, WEIGHED).get_page(request.GET.get("page"))
    animals = list(listed)
    stake = at_stake([one.pk for one in animals], now)
    everyone = examiners_for(collection, animals, stake, now)
    asked = request.GET.dict()
    form = VisitPlanForm(
        {"minutes": "120", "by": "keeper", **asked}, examiners=list(everyone.names.items())
    )
    context = {"collection": collection, "form": form, "cautions": BEFORE_A_CHECK}
    context |= {"listed": listed, "asked": _asked(request)}
    if not form.is_valid():
        return page(request, "collections/plan.html", context, status=422)
    minutes, by = form.cleaned_data["minutes"], form.cleaned_data["by"]
    found = plan_visit(animals, everyone.only(by), stake, float(minutes), now)
    titles = {str(one.pk): title_of(one) for one in animals}
    context |= {
        "lines": [_line(one, titles, found.examiners) for one in found.sheet.lines],
        "minutes": round(found.sheet.minutes),
        "left_out": _named(found.sheet.left_out, titles),
        "waiting": [Named(one.animal, titles[one.animal], one.why) for one in found.waiting],
        "no_need": _named(found.sheet.no_need, titles),
        "invite": _invite(collection.pk, [line.animal for line in found.sheet.lines]),
        "by": found.measured_by,
        "numbers": planning_numbers(),
    }
    return page(request, "collections/plan.html", context)


def _asked(request: HttpRequest) -> str:
    """What was asked, but for the page: for the links to other pages."""
    return urlencode({name: request.GET[name] for name in ("minutes", "by") if name in request.GET})


def _invite(collection: UUID, animals: Sequence[str]) -> str:
    """The invitation with these animals ticked."""
    query = urlencode({"animal": animals}, doseq=True)
    return f"{reverse('invite', args=[collection])}?{query}"


def _named(animals: Iterable[str], titles: Mapping[str, str]) -> list[Named]:
    return [Named(one, titles[one]) for one in animals]


def _line(one: Check, titles: Mapping[str, str], who: Examiners) -> PlannedCheckLine:
    return PlannedCheckLine(
        animal=one.animal,
        title=titles[one.animal],
        method=METHODS[one.method].name,
        who=who.names[one.examiner],
        minutes=round(one.minutes),
        reasons=one.reasons,
        ask=_ask(one),
    )


def _ask(one: Check) -> str:
    """The what-if page with this check filled in; what it would say is left to ask."""
    keeper = "blind" if one.blind else "knowing"
    query = urlencode(
        {"method": one.method, "who": keeper if one.role == "keeper" else one.role, "says": "male"}
    )
    return f"{reverse('what_if', args=[one.animal])}?{query}"


@signed_in
def plan_checks(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    now = timezone.now()
    found = plan_animal(animal, at_stake([animal.pk], now), now)
    titles = {str(animal.pk): title_of(animal)}
    context = {
        "animal": animal,
        "title": title_of(animal),
        "lines": [_line(one, titles, found.examiners) for one in found.plan.checks],
        "ruled_out": _together(found.plan.ruled_out, found.examiners),
        "cautions": BEFORE_A_CHECK,
        "by": found.measured_by,
        "numbers": planning_numbers(),
    }
    return page(request, "animals/plan.html", context)


def _together(ruled_out: Iterable[RuledOut], who: Examiners) -> list[RuledOutLine]:
    """One row for each method and reason, with everyone it holds for."""
    found: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for one in ruled_out:
        found.setdefault((one.method, one.why), []).append(who.names[one.examiner])
    rows = [
        RuledOutLine(METHODS[method].name, ", ".join(dict.fromkeys(names)), why)
        for (method, why), names in found.items()
    ]
    return sorted(rows, key=lambda row: row.method)


@signed_in
def what_if(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """Open to whoever may see the animal whole."""
    now = timezone.now()
    animal = animal_open(keeper.pk, animal_id, now)
    form = SupposeForm(request.GET or None)
    context = {"animal": animal, "title": title_of(animal), "form": form}
    if form.is_valid():
        context["found"] = suppose(animal, form.supposed(), keeper.pk, now)
    status = 422 if form.is_bound and form.errors else 200
    return page(request, "animals/what_if.html", context, status=status)
