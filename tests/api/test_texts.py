"""What one wrote, erased by oneself."""

from tests.api.client import Api
from tests.api.conftest import present
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Text
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import OfferLink


def test_the_author_erases_and_the_call_shows_no_note(
    world: World, odile: Api, pim: Api, animal: Animal
) -> None:
    made = world.call(world.odile, animal, "male", texts={"note": "Before breakfast."})
    assert odile.get(f"/calls/{made.id}").body["note"] == "Before breakfast."
    assert pim.delete(f"/facts/{made.id}/texts").status == 404
    for _ in range(2):
        assert odile.delete(f"/facts/{made.id}/texts").status == 204
    assert odile.get(f"/calls/{made.id}").body.get("note") is None


def test_a_buyer_erases_what_they_wrote_of_this_sale_alone(world: World, nobody: Api) -> None:
    present(world)
    sale, other = world.draft(world.animal("S1")), world.draft(world.animal("S2"))
    for one in (sale, other):
        texts = {"note": "My mother asks too."}
        world.offer(one)
        asked = world.item("check_requested", one.pk, {}, texts=texts)
        accept_one(asked, world.buyer(one), world.now)
    token = link_token(OfferLink.objects.get(sale=sale).pk)
    assert nobody.delete(f"/offers/{token}x/texts").status == 404
    for _ in range(2):
        assert nobody.delete(f"/offers/{token}/texts").status == 204
    assert Text.objects.get().fact == other.steps.get(kind="check_requested").pk
