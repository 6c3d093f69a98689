"""An animal that was sold on and on, among keepers with accounts."""

from dataclasses import dataclass, field
from datetime import timedelta

from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.services import draft_sale


@dataclass
class Chain:
    """Odile sells to Bela, she to Cleo, he to Dov. Each names it anew and gives it a tag."""

    world: World
    animal: Animal = field(init=False)
    keepers: list[Keeper] = field(init=False)
    rooms: list[Collection] = field(init=False)
    sales: list[Sale] = field(default_factory=list)

    def __post_init__(self) -> None:
        world = self.world
        self.animal = world.verified("V1")
        self.keepers = [world.odile, *(keeper(f"{one} Abel") for one in ("Bela", "Cleo", "Dov"))]
        self.rooms = [world.collection]
        self.rooms += [
            create_collection(one, new_id(world.now), "The rack", world.now)
            for one in self.keepers[1:]
        ]
        for number, name in enumerate(("Vesper", "Moss", "Nettle", "Sorrel")):
            world.pass_time(hours=1)
            self.mark(number, name)
            if number < 3:
                self.sell(number)

    def mark(self, number: int, name: str) -> None:
        world, owner = self.world, self.keepers[number]
        tag = {"scheme": "tag", "code": f"TAG-OF-{owner.name[:4].strip().upper()}"}
        world.say(owner, "identifier_assigned", self.animal.pk, tag)
        self.animal.refresh_from_db()
        self.animal.name, self.animal._history_user = name, owner
        self.animal._history_date = world.now
        self.animal.save()

    def sell(self, number: int) -> None:
        world, (seller, buyer) = self.world, self.keepers[number : number + 2]
        sale = draft_sale(
            sale=new_id(world.now),
            collection=self.rooms[number],
            animals=[self.animal],
            buyer_id=new_id(world.now),
            buyer_name=buyer.name,
            buyer_email=buyer.email,
            by=seller,
            now=world.now,
            by_code=False,
        )
        world.pay(sale)
        world.say(seller, "handed_over", sale.pk)
        moved = {"to": str(self.rooms[number + 1].pk), "why": "sold", "sale": str(sale.pk)}
        world.say(seller, "custody_changed", self.animal.pk, moved)
        self.sales.append(sale)

    def fall(self) -> None:
        """Greta, blind, finds a female at Dov's."""
        world, visit = self.world, new_id(self.world.now)
        invited = {
            "collection": str(self.rooms[-1].pk),
            "guest": str(world.greta.pk),
            "animals": [str(self.animal.pk)],
            "opens": rfc3339(world.now),
            "closes": rfc3339(world.now + timedelta(days=3)),
            "blind": True,
        }
        world.say(self.keepers[-1], "visit_invited", visit, invited)
        world.say(world.greta, "visit_accepted", visit)
        body = probing("female", "TAG-OF-DOV") | {"visit": str(visit)}
        world.say(world.greta, "call_made", self.animal.pk, body)
