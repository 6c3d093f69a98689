"""What to check next, on a visit or on one animal, and what it might do. Records nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.safestring import SafeString

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.disputes.queries.disputes import by_need
from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.ahead import TwoChecks, in_words
from scalewitness.domain.sexing.planning import SETUP, Check, RuledOut
from scalewitness.pages.animals.animal import stewarded_animal
from scalewitness.pages.animals.arranging import Arranged, Moves
from scalewitness.pages.animals.planning_forms import SAYS, ComingForm, SupposeForm, VisitPlanForm
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.picking import ids_among
from scalewitness.pages.plots.minutes import gain_bar, minutes_bar
from scalewitness.people.models import Keeper
from scalewitness.planning.available import Examiners, examiners_for
from scalewitness.planning.plans import WEIGHED, plan_animal, plan_visit, planning_numbers
from scalewitness.planning.supposing import occasion_of, supposing
from scalewitness.seasons.queries.at_stake import stake_for
from scalewitness.standings.queries.basis import basis_of


@dataclass(frozen=True, slots=True)
class Named:
    """An animal with what is said of it."""

    animal: str
    title: str
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedCheckLine:
    """One check in words. ``price`` empty: it costs nothing; ``ahead``: what a second check would
    bring; ``gain``: drawn; ``ask``: where to see what it would do to the standing; ``repeats``: all
    that is said of it was said of the line before; ``moves``: where its host arranges it."""

    animal: str
    title: str
    rack: str
    method: str
    who: str
    minutes: int
    price: str
    settles: str
    ahead: str
    reasons: tuple[str, ...]
    ask: str
    gain: SafeString
    repeats: bool = False
    moves: Moves | None = None


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
    if chosen := ids_among(request.GET.getlist("animal")):
        needy = needy.filter(pk__in=chosen)
    listed = Paginator(needy, WEIGHED).get_page(request.GET.get("page"))
    animals, arranged = list(listed), Arranged(request.GET)
    free = [one for one in animals if str(one.pk) not in arranged.skipped]
    stake = stake_for(keeper.pk, [one.pk for one in animals], now)
    everyone = examiners_for(collection, animals, stake, now)
    form = VisitPlanForm(request.GET, everyone)
    context = {"collection": collection, "form": form, "cautions": BEFORE_A_CHECK}
    context |= {"listed": listed, "asked": _asked(request), "chosen": chosen}
    context |= {"kept": arranged.kept}
    if not form.is_valid():
        return page(request, "collections/plan.html", context, status=422)
    minutes, by = form.cleaned_data["minutes"], form.cleaned_data["by"]
    who = everyone.priced(form.prices())
    found = plan_visit(free, who, by, stake, float(minutes), now)
    known = {str(one.pk): one for one in animals}
    titles = {key: title_of(one) for key, one in known.items()}
    sheet, most = found.sheet, max((one.loss_now for one in found.sheet.lines), default=1.0)
    checks = arranged.in_order(sheet.lines)
    lines = [_line(one, known, who, form, sheet.ahead.get(one.animal), most) for one in checks]
    order, spent = [one.animal for one in checks], (sheet.setups, float(minutes))
    context |= {
        "lines": [
            replace(line, moves=moves)
            for line, moves in zip(_shortened(lines), arranged.moves(order), strict=True)
        ],
        "bar": minutes_bar([(titles[one.animal], one.minutes) for one in checks], *spent),
        "arrange": arranged.without_order(),
        "skipped": [(titles[one], arranged.back(one)) for one in arranged.skipped if one in titles],
        "minutes": round(sheet.minutes),
        "setups": round(sheet.setups),
        "price": _price(sheet.lines, who, form),
        "left_out": _named(sheet.left_out, titles),
        "waiting": [Named(one.animal, titles[one.animal], one.why) for one in found.waiting],
        "no_need": _named(sheet.no_need, titles),
        "invite": _invite(collection.pk, order),
        "by": found.measured_by,
        "numbers": planning_numbers(),
    }
    return page(request, "collections/plan.html", context)


def _asked(request: HttpRequest) -> str:
    """What was asked, but for the page: for the links to other pages."""
    asked = request.GET.copy()
    asked.pop("page", None)
    return asked.urlencode()


def _price(lines: Iterable[Check], who: Examiners, form: ComingForm) -> str:
    """Of all together, as it is said; empty where they cost nothing."""
    total = sum(form.cleaned_data[who.parties[one.examiner]] for one in lines)
    return f"{total} {form.cleaned_data['currency']}".strip() if total else ""


def _shortened(lines: Iterable[PlannedCheckLine]) -> list[PlannedCheckLine]:
    """Each on one line where it repeats the one before, as of a clutch."""
    found: list[PlannedCheckLine] = []
    last: tuple[object, ...] = ()
    for one in lines:
        again = one.method, one.who, one.settles, one.ahead, one.reasons
        found.append(replace(one, repeats=again == last))
        last = again
    return found


def _invite(collection: UUID, animals: Sequence[str]) -> str:
    """The invitation with these animals ticked."""
    query = urlencode({"animal": animals}, doseq=True)
    return f"{reverse('invite', args=[collection])}?{query}"


def _named(animals: Iterable[str], titles: Mapping[str, str]) -> list[Named]:
    return [Named(one, titles[one]) for one in animals]


def _line(
    one: Check,
    animals: Mapping[str, Animal],
    who: Examiners,
    form: ComingForm,
    two: TwoChecks | None,
    most: float,
) -> PlannedCheckLine:
    animal = animals[one.animal]
    return PlannedCheckLine(
        animal=one.animal,
        title=title_of(animal),
        rack=animal.rack,
        method=METHODS[one.method].name,
        who=who.names[one.examiner],
        minutes=round(one.minutes),
        price=form.of(who.parties[one.examiner]),
        settles=one.settles,
        ahead=in_words(one, two, who.names[two.second_examiner] if two else ""),
        reasons=one.reasons,
        ask=_ask(one, who),
        gain=gain_bar(one.loss_now, one.loss_after, most),
    )


def _ask(one: Check, who: Examiners) -> str:
    """The what-if page with this check filled in."""
    by = "blind" if one.blind else "knowing"
    if one.role != "keeper":
        by = f"{one.role}-confirmed" if who.confirms(one) else one.role
    query = urlencode({"method": one.method, "who": by})
    return f"{reverse('what_if', args=[one.animal])}?{query}"


@signed_in
def plan_checks(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    now = timezone.now()
    stake = stake_for(keeper.pk, [animal.pk], now)
    everyone = examiners_for(animal.collection, [animal], stake, now)
    form = ComingForm(request.GET, everyone)
    context = {"animal": animal, "title": title_of(animal), "form": form}
    context |= {"cautions": BEFORE_A_CHECK}
    if not form.is_valid():
        return page(request, "animals/plan.html", context, status=422)
    who = everyone.priced(form.prices())
    found = plan_animal(animal, who, form.cleaned_data["by"], stake, now)
    known = {str(animal.pk): animal}
    most = max((one.loss_now for one in found.plan.checks), default=1.0)
    context |= {
        "lines": _by_any_of(
            _line(one, known, who, form, found.ahead.get((one.method, one.examiner)), most)
            for one in found.plan.checks
        ),
        "setup": round(SETUP),
        "ruled_out": _together(found.plan.ruled_out, found.examiners),
        "by": found.measured_by,
        "numbers": planning_numbers(),
    }
    return page(request, "animals/plan.html", context)


def _by_any_of(lines: Iterable[PlannedCheckLine]) -> list[PlannedCheckLine]:
    """One for all who would do as well."""
    found: dict[tuple[object, ...], PlannedCheckLine] = {}
    for one in lines:
        alike = one.method, one.price, one.settles, one.reasons
        first = found.get(alike)
        found[alike] = replace(first, who=f"{first.who} or {one.who}") if first else one
    return list(found.values())


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
    form = SupposeForm(request.GET)
    context = {"animal": animal, "title": title_of(animal), "form": form}
    if form.is_valid():
        known = basis_of(animal)
        ask = supposing(known, occasion_of(animal, keeper.pk, now), keeper.pk, now)
        context["answers"] = [(words, ask(form.supposed(says))) for says, words in SAYS]
        context["by"] = known.by
    status = 422 if form.errors else 200
    return page(request, "animals/what_if.html", context, status=status)
