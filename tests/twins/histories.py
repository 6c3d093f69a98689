"""Random histories of an animal that a guest is to check blind, or of its twin.

``rich``: what happens is about the animal on the guest's sheet. Else it is about a twin that is out
of their sight, and what happens to the guest's own animals is about the other one on their sheet.
The two worlds have equally long logs, and the guest may learn nothing of which is which.
"""

import random
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeAlias
from uuid import UUID

from django.utils import timezone
from tests.bundles import quote
from tests.pictures import body_of, plain_file
from tests.world import World, keeper, new_id, probing, tag_of

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection, edit
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.observations import Sex
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.statements import update_examiner_records
from scalewitness.people.models import Keeper
from scalewitness.people.services import enter_address, name_practitioner

SEXES: tuple[Sex, Sex] = ("male", "female")
MARKS = ("coral glow", "ventral-42", "King of the room", "Sired forty")


@dataclass
class Twins:
    """``target``: whose history it is; ``used``: what the guest's own animals are said to be of.
    ``ids``: what came of it, by the names that the tables of endpoints and pages use."""

    rng: random.Random
    rich: bool
    world: World = field(init=False)
    seen: Animal = field(init=False)
    second: Animal = field(init=False)
    hidden: Animal = field(init=False)
    shelf: Collection = field(init=False)
    terrace: Collection = field(init=False)
    stans: Animal = field(init=False)
    own: list[Animal] = field(default_factory=list)
    visit: UUID = field(init=False)
    ids: dict[str, str] = field(default_factory=dict)
    taken: list[tuple[str, bool]] = field(default_factory=list)
    """What was done, and whether the record took it: the same in both worlds."""

    def __post_init__(self) -> None:
        self.world = World(now=timezone.now() - timedelta(days=40))
        self.seen, self.second, self.hidden = (self._animal(tag) for tag in ("X-1", "Z-1", "H-1"))
        for one in (self.seen, self.second, self.hidden):
            self.world.chip(one)
        self.shelf = create_collection(self.guest, new_id(self.world.now), "Shelf", self.world.now)
        given = {"to": str(self.world.odile.pk), "role": "partner"}
        self.world.say(self.guest, "grant_given", self.shelf.pk, given)
        self.world.make_partner(self.world.pim)
        for tag in ("Y-1", "Y-2", "M-1"):
            one = self._animal(tag, hatched="2026-08-01")
            self.world.say(
                self.world.odile,
                "custody_changed",
                one.pk,
                {"to": str(self.shelf.pk), "why": "loaned"},
            )
            self.own.append(one)
        self.terrace = create_collection(
            self.world.stan, new_id(self.world.now), "Terrace", self.world.now
        )
        self.world.say(self.world.stan, "grant_given", self.terrace.pk, given)
        self.stans = self.world.animal("M-2", room=self.terrace)

    def _animal(self, tag: str, **body: Any) -> Animal:
        """A second later than the one before, so that ids have the same order every time."""
        self.world.pass_time(seconds=1)
        return self.world.animal(tag, **body)

    @property
    def guest(self) -> Keeper:
        return self.world.greta

    @property
    def target(self) -> Animal:
        return self.seen if self.rich else self.hidden

    @property
    def used(self) -> Animal:
        return self.seen if self.rich else self.second

    def say(self, who: Keeper, kind: str, about: UUID, body: Any = None, **more: Any) -> Outcome:
        return self.world.say(who, kind, about, body, **more)

    def sex(self) -> Sex:
        return self.rng.choice(SEXES)

    def note(self, name: str, outcome: Outcome) -> str:
        """Keep the id of what was taken."""
        self.ids[name] = str(outcome.id)
        return str(outcome.id)

    def someone(self, name: str) -> Keeper:
        return keeper(f"{name} {len(self.taken)}")

    def do(self, action: "Action") -> None:
        taken = False
        with suppress(Refused):
            action(self)
            taken = True
        self.taken.append((action.__name__, taken))


Action: TypeAlias = Callable[[Twins], None]


def owner_calls(on: Twins) -> None:
    on.note("call", on.world.call(on.world.odile, on.target, on.sex()))


def another_guest_calls(on: Twins) -> None:
    guest = on.someone("Guest")
    visit = on.world.visit(guest, on.target, on.second)
    on.ids["visit_after"], on.ids["keeper_guest_after"] = str(visit), str(guest.pk)
    on.note("call_after", on.world.call(guest, on.target, on.sex(), visit=visit))


def a_check_comes_late(on: Twins) -> None:
    """Another guest's, of a visit that ended 19 days ago; decided on or not."""
    guest, now = on.someone("Late guest"), on.world.now
    on.world.now = now - timedelta(days=20)
    visit = on.world.visit(guest, on.target, on.second, days=1)
    on.world.now = now
    at = now - timedelta(days=19, hours=12)
    made = on.note("held", on.world.call(guest, on.target, "male", visit=visit, at=at))
    admitted = (None, True, False)[len(on.taken) % 3]
    if admitted is not None:
        body = {"held": made, "admitted": admitted}
        on.say(on.world.odile, "late_call_decided", on.target.pk, body)


def it_is_verified(on: Twins) -> None:
    """By its owner and two guests, one of whose word has a footing."""
    sex = on.sex()
    on.world.call(on.world.odile, on.target, sex)
    for guest in (on.someone("Guest"), on.world.fenna):
        on.world.pass_time(hours=1)
        visit = on.world.visit(guest, on.target, on.second)
        on.ids["blind_call"] = str(on.world.call(guest, on.target, sex, visit=visit).id)


def a_blind_check_is_withdrawn(on: Twins) -> None:
    """So that what was verified falls."""
    if "blind_call" in on.ids:
        taken_back = {"call": on.ids.pop("blind_call")}
        on.say(on.world.fenna, "call_withdrawn", on.target.pk, taken_back)


def eggs_are_laid(on: Twins) -> None:
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = {"observed": seen, "document": "ab" * 32}
    made = on.world.call(on.world.odile, on.target, "female", body=body)
    neighbour = on.someone("Neighbour")
    on.world.view(neighbour, on.target)
    on.note("laid", made)
    on.say(neighbour, "witness_stated", on.target.pk, {"call": made.id})


def a_practice_is_reported(on: Twins) -> None:
    """An endoscopy, or a test whose young they are."""
    now = on.world.now
    named = name_practitioner(on.world.odile, new_id(now), "Dr Aldous")
    on.ids["practitioner"] = str(named.pk)
    vet = on.rng.random() < 0.5
    seen: dict[str, Any] = {"method": "endoscopy", "seen": on.rng.choice(["testes", "ovaries"])}
    if not vet:
        seen = {"method": "parentage", "found": "sire", "young": 4}
    reported = {"role": "veterinarian" if vet else "laboratory", "who": str(named.pk)}
    sex = "female" if seen.get("seen") == "ovaries" else "male"
    body = {"observed": seen, "reported": reported}
    on.note("reported", on.world.call(on.world.odile, on.target, sex, body=body))
    if on.rng.random() < 0.3:
        enter_address(named, on.someone("Vet").email, new_id(now), now)


def a_call_is_withdrawn(on: Twins) -> None:
    made = on.world.call(on.world.odile, on.target, on.sex(), texts={"note": "She held still."})
    on.say(on.world.odile, "call_withdrawn", on.target.pk, {"call": made.id})


def the_partner_objects(on: Twins) -> None:
    made = on.world.call(on.world.odile, on.target, on.sex())
    objected = {"call": made.id, "ground": "wrong_reading"}
    on.say(on.world.pim, "call_objected", on.target.pk, objected)
    dispute = new_id(on.world.now)
    body = {"animal": str(on.target.pk), "ground": "party_objects"}
    on.say(on.world.pim, "dispute_opened", dispute, body)
    on.ids["dispute"] = str(dispute)


def it_is_named(on: Twins) -> None:
    on.target.refresh_from_db()
    fields = {"name": MARKS[2], "rack": "Breeders", "description": MARKS[3]}
    by, version = on.world.odile, on.target.version
    edit(on.target, fields, version=version, by=by, now=on.world.now)
    on.target.refresh_from_db()


def traits_are_stated(on: Twins) -> None:
    body = {"species": "python_regius", "traits": [MARKS[0]]}
    on.say(on.world.odile, "particulars_corrected", on.target.pk, body)


def another_log_is_quoted(on: Twins) -> None:
    on.ids["quote"] = quote(on.world, on.world.odile, on.target)


def it_is_photographed(on: Twins) -> None:
    code = {"scheme": "scale_photo", "code": MARKS[1]}
    on.say(on.world.odile, "identifier_assigned", on.target.pk, code)
    picture = plain_file()
    photo = on.note(
        "photo", on.say(on.world.odile, "photo_attached", on.target.pk, body_of(picture))
    )
    take_photo_file(UUID(photo), picture, Actor(keeper=on.world.odile.pk), on.world.now)


def it_is_well(on: Twins) -> None:
    noted = {"noted": {"type": "health", "sign": "well"}}
    on.say(on.world.odile, "husbandry_noted", on.target.pk, noted)


def it_is_offered(on: Twins) -> None:
    sale = on.world.draft(on.target, email=f"bela{len(on.taken)}@buyers.example")
    on.ids["sale"] = on.ids["offered"] = on.ids["draft"] = str(sale.pk)
    on.world.offer(sale, expires=rfc3339(timezone.now() + timedelta(days=5)))


def it_is_sold(on: Twins) -> None:
    sale = on.world.sold(on.target, email=f"bela{len(on.taken)}@buyers.example")
    on.ids["sale"] = str(sale.pk)
    on.ids["offer_fact"] = str(sale.steps.get(kind="offer_made").pk)


def it_is_paired(on: Twins) -> None:
    mate, pairing = on._animal(f"P-{len(on.taken)}"), new_id(on.world.now)
    pair = dict(zip(_roles(on), (str(on.target.pk), str(mate.pk)), strict=True))
    _season_goes(on, pairing, pair)
    on.ids["pairing"] = str(pairing)


def _season_goes(on: Twins, pairing: UUID, pair: dict[str, str]) -> None:
    """Planned, and seen to ovulate: something is due within the week."""
    day = on.world.now.date()
    on.say(on.world.odile, "pairing_planned", pairing, {**pair, "season": day.year + 1})
    seen = {"what": "ovulation", "on": str(day - timedelta(days=14))}
    on.say(on.world.odile, "season_noted", pairing, seen)


def it_has_young(on: Twins) -> None:
    """Of the host's; the guest may look at it, and learn that a parent of it is on their sheet."""
    role, _ = _roles(on)
    parent = {role: str(on.used.pk), "hatched": "2026-08-01"}
    young = on._animal(f"K-{len(on.taken)}", **parent)
    on.world.view(on.guest, young)
    on.ids["other"] = str(young.pk)


def its_number_is_given_to_another(on: Twins) -> None:
    """By a stranger, who bought the snake perhaps, and registers it anew."""
    room = create_collection(on.world.stan, new_id(on.world.now), "Terrace", on.world.now)
    on.world.pass_time(seconds=1)
    anew = on.world.animal(f"N-{len(on.taken)}", room=room)
    chip = {"scheme": "transponder", "code": on.world.chip(on.target)}
    on.say(on.world.stan, "identifier_assigned", anew.pk, chip)


def records_are_made_up(on: Twins) -> None:
    update_examiner_records(on.world.now)


BEFORE: tuple[Action, ...] = (
    owner_calls,
    another_guest_calls,
    it_is_verified,
    a_blind_check_is_withdrawn,
    eggs_are_laid,
    a_practice_is_reported,
    a_call_is_withdrawn,
    the_partner_objects,
    it_is_named,
    traits_are_stated,
    another_log_is_quoted,
    it_is_photographed,
    it_is_well,
    it_is_offered,
    it_is_sold,
    it_is_paired,
    it_has_young,
    records_are_made_up,
)


def own_young_get_a_parent(on: Twins) -> None:
    """By the guest's partner, while the guest is to check it blind."""
    one, (role, _) = on.rng.choice(on.own[:2]), _roles(on)
    body = {"species": "python_regius", "hatched": "2026-08-01", role: str(on.used.pk)}
    on.say(on.world.odile, "particulars_corrected", one.pk, body)


def own_mate_is_paired(on: Twins) -> None:
    pairing = new_id(on.world.now)
    roles = _roles(on)
    pair = dict(zip(roles, (str(on.used.pk), str(on.own[2].pk)), strict=True))
    _season_goes(on, pairing, pair)
    # Whichever of the two falls, as many plans are affected.
    other = dict(zip(roles, (str(on.hidden.pk), str(on.stans.pk)), strict=True))
    on.ids["pairing_of_others"] = str(new_id(on.world.now))
    _season_goes(on, UUID(on.ids["pairing_of_others"]), other)
    on.ids["pairing"] = on.ids["own_pairing"] = str(pairing)


def the_guest_is_given_access(on: Twins) -> None:
    """Unasked, to all of the collection; it waits for their check."""
    role = on.rng.choice(["partner", "viewer"])
    given = {"to": str(on.guest.pk), "role": role}
    on.say(on.world.odile, "grant_given", on.world.collection.pk, given)


def the_guest_is_made_a_partner(on: Twins) -> None:
    given = {"to": str(on.guest.pk), "role": "partner"}
    on.note("grant", on.say(on.world.odile, "grant_given", on.world.collection.pk, given))


def own_pairing_is_dropped(on: Twins) -> None:
    if "own_pairing" in on.ids:
        for name in ("own_pairing", "pairing_of_others"):
            on.say(on.world.odile, "pairing_dropped", UUID(on.ids.pop(name)))


OWN = (own_young_get_a_parent, own_mate_is_paired)


def _roles(on: Twins) -> tuple[str, str]:
    """Of the animal, and of the other one."""
    return ("sire", "dam") if on.rng.random() < 0.5 else ("dam", "sire")


Story: TypeAlias = tuple[Sequence[Action], Sequence[Action]]
"""What happens before the guest may look, and what once they may."""

SHORT: Story = (
    (
        it_is_well,
        another_log_is_quoted,
        traits_are_stated,
        it_has_young,
        it_is_verified,
        a_check_comes_late,
    ),
    (
        own_young_get_a_parent,
        own_mate_is_paired,
        the_guest_is_made_a_partner,
        a_blind_check_is_withdrawn,
        its_number_is_given_to_another,
        eggs_are_laid,
    ),
)


def told(seed: int, *, rich: bool, story: Story | None = None) -> Iterator[Twins]:
    """The history: before the guest may look, once they may, and again after each thing that then
    happens. Without a ``story`` a random one."""
    on = Twins(random.Random(seed), rich)  # noqa: S311  a story, no secret
    before, happens = story or _drawn(on.rng)
    for action in before:
        on.world.pass_time(hours=on.rng.randint(1, 60))
        on.do(action)
    on.world.now = timezone.now() - timedelta(hours=3)
    yield on
    on.visit = on.world.visit(on.guest, on.seen, on.second)
    on.ids |= {"visit": str(on.visit), "stranger": str(on.world.stan.pk)}
    on.ids["stranger_email"] = on.world.stan.email
    yield on
    for action in happens:
        on.world.pass_time(minutes=10)
        on.do(action)
        yield on


def _drawn(rng: random.Random) -> Story:
    more = [*BEFORE, *OWN, own_pairing_is_dropped, the_guest_is_given_access]
    happens = [*OWN, its_number_is_given_to_another, *rng.choices(more, k=rng.randint(1, 4))]
    rng.shuffle(happens)
    return [*rng.choices(BEFORE, k=rng.randint(5, 9)), a_check_comes_late], happens


def own_call(on: Twins, at: datetime) -> dict[str, Any]:
    """The guest's own, at last."""
    body = probing("female", tag_of(on.seen)) | {"visit": str(on.visit)}
    return on.world.item("call_made", on.seen.pk, body, at=at)
