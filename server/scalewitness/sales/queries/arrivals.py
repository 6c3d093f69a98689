"""Whether what arrived is what was sold, by the buyer's word."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from scalewitness.animals.models import Animal, Identifier, Photo
from scalewitness.domain.arrivals import ArrivalAnswer, Fits, arrival_in_words, compare_on_arrival
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import codes_known, offer_in_force


@dataclass(frozen=True, slots=True)
class Arrival:
    """One answer. ``read``: the transponder read, or nothing; ``fits``: what it says, None where
    nothing was read or there was nothing to compare with."""

    id: UUID
    animal: UUID
    answer: ArrivalAnswer
    read: str
    fits: Fits | None
    photo: UUID | None
    at: datetime
    position: int

    @property
    def in_words(self) -> str:
        return arrival_in_words(self.answer, self.read, self.fits, photo=self.photo is not None)


def arrivals_of(sale: Sale, animal: UUID | None = None) -> list[Arrival]:
    """What its buyer said of each animal of the sale, or of one, in log order."""
    steps = (step for step in sale.steps.all() if step.kind == "arrival_compared")
    wanted = [one for one in steps if animal is None or one.body["animal"] == str(animal)]
    read = {one.body["animal"] for one in wanted if one.body.get("read")}
    animals = {str(one.pk): one for one in sale.animals.all()} if read else {}
    codes = {one: transponders_of(animals[one], sale) for one in read}
    return [_arrival(one, codes.get(one.body["animal"], ((), ()))) for one in wanted]


def last_arrivals(sale: Sale) -> dict[UUID, Arrival]:
    """The last word on each animal that the buyer said something of."""
    return {one.animal: one for one in arrivals_of(sale)}


Codes = tuple[Iterable[str], Iterable[str]]


def _arrival(step: SaleStep, codes: Codes) -> Arrival:
    body, (confirmed, since) = step.body, codes
    read = body.get("read") or ""
    fits = compare_on_arrival(read, set(confirmed), set(since)) if read else None
    photo = UUID(body["photo"]) if body.get("photo") else None
    animal, answer = UUID(body["animal"]), body["answer"]
    return Arrival(step.pk, animal, answer, read, fits, photo, step.at, step.position)


def transponders_of(animal: Animal, sale: Sale) -> tuple[list[str], list[str]]:
    """The transponders that it bore when its buyer confirmed the offer, and those that it was given
    between then and the end of the deal."""
    confirmed = next(
        (one.position for one in reversed(sale.steps.all()) if one.kind == "sale_confirmed"), 0
    )
    known = [one for one in codes_known(animal, sale) if one.scheme == "transponder"]
    then = [one.code for one in known if one.position < confirmed]
    return then, [one.code for one in known if one.position > confirmed]


def bearer_of(read: str, collection: UUID) -> Animal | None:
    """The animal still in the collection that bears the transponder: for its keepers, who may have
    sent one snake for another."""
    borne = Identifier.objects.filter(scheme="transponder", code=read)
    found = borne.filter(animal__collection=collection).select_related("animal").first()
    return found.animal if found else None


def photos_offered(animal: Animal, sale: Sale) -> list[Photo]:
    """Photos of the animal itself, with their files, from before it was offered, newest first: no
    seller proves what they sent by a picture taken for it."""
    offer = offer_in_force(sale)
    until = offer.position if offer else 0
    there = Photo.objects.filter(animal=animal, call=None, file__isnull=False)
    return list(there.filter(position__lt=until).order_by("-position"))


def recheck_until(sale: Sale) -> datetime | None:
    """The end of the agreed time to recheck, counted from the handover; None before there was one,
    and where no time was agreed."""
    offer = offer_in_force(sale)
    over = next((one for one in sale.steps.all() if one.kind == "handed_over"), None)
    if offer is None or over is None or not offer.body["recheck_days"]:
        return None
    return over.at + timedelta(days=offer.body["recheck_days"])


def awaited_answers(keeper: UUID, since: datetime) -> list[tuple[Sale, Animal]]:
    """Of what the keeper bought and was given since then, every animal that they said nothing of
    yet."""
    over = SaleStep.objects.filter(kind="handed_over", at__gt=since).values("sale")
    sales = (
        Sale.objects.filter(buyer__keeper=keeper, pk__in=over)
        .select_related("buyer", "collection__keeper")
        .prefetch_related("steps", "animals__identifiers", "animals__custody")
        .order_by("drafted_at", "pk")
    )
    return [
        (sale, animal)
        for sale in sales
        for animal in sale.animals.all()
        if str(animal.pk) not in {step.body.get("animal") for step in sale.steps.all()}
    ]
