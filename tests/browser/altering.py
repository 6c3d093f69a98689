"""A record to be altered behind the server's back, and the hand that alters it."""

from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.db import connections
from django.utils import timezone
from tests import superuser
from tests.api.test_receipts import token
from tests.browser.conftest import session_of
from tests.pictures import body_of, plain_file
from tests.world import World

from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.services import accept_one
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.people.services import enrol_device


@dataclass(frozen=True)
class Told:
    """What was told: one animal with everything, and another."""

    database: str
    session: str
    device: str
    animal: str
    other: str
    offer: str

    def path(self, page: str) -> str:
        return {"offer": f"/offers/{self.offer}", "animal": f"/animals/{self.animal}"}[page]


def tell(world: World, *, late: bool = False) -> Told:
    """An animal that two keepers agree on, with a photo, offered; a call on it was withdrawn.
    ``late``: two more came late, of which one was refused."""
    world.now -= timedelta(days=20)
    animal, other = world.verified("R-1"), world.animal("R-2")
    world.call(world.odile, other, "male")
    world.pass_time(days=1)
    slip = world.call(world.odile, animal, "female", texts={"note": "Held by one person."})
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(slip.id)})
    photo = world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file())).id
    take_photo_file(UUID(photo), plain_file(), Actor(keeper=world.odile.pk), world.now)
    examined = world.now + timedelta(hours=2)
    visit = world.visit(world.stan, animal, days=1) if late else None
    world.pass_time(days=18)
    for refused in (True, False) if late else ():
        held = world.call(world.stan, animal, "male", visit=visit, at=examined).id
        if refused:
            decision = {"held": held, "admitted": False}
            world.say(world.odile, "late_call_decided", animal.pk, decision)
    sale = world.draft(animal)
    world.offer(sale)
    accept_one(world.item("check_requested", sale.pk, {}), world.buyer(sale), world.now)
    database = connections["default"].settings_dict["NAME"]
    world.now = timezone.now()
    _, device = enrol_device(world.odile, "phone", world.now)
    sign_checkpoint(world.now)  # or looking would, which what is put back afterwards must not undo
    return Told(
        database,
        session_of(world.odile),
        device,
        str(animal.pk),
        str(other.pk),
        token(sale, "offer"),
    )


def altered(story: Told, statements: str) -> AbstractContextManager[None]:
    """As :func:`tests.superuser.altered`, of this story."""
    words = SHORT | {"ANIMAL": f"'{story.animal}'", "OTHER": f"'{story.other}'"}
    return superuser.altered(story.database, statements, words)


SHORT = {
    "THE_CALL": "position = (SELECT max(position) FROM calls_call WHERE animal_id = ANIMAL "
    "AND conclusion = 'male')",
    "OTHER_LEAF": "convert_to(replace(convert_from(leaf, 'UTF8'), "
    """'"conclusion":"male"', '"conclusion":"fema"'), 'UTF8')""",
    "WAITS": "held_id NOT IN (SELECT held_id FROM calls_helddecision)",
    "DECIDED": "id IN (SELECT held_id FROM calls_helddecision)",
    "FIRST": "(SELECT min(position) FROM ledger_entry WHERE about = ANIMAL "
    "AND kind IN ('call_made', 'standing_changed'))",
}
