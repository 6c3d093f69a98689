"""A log that may not be the one others saw takes, signs and sends nothing, and is read."""

from datetime import timedelta

import pytest
from django.test import Client
from tests.api.client import Api
from tests.ledger.setting_back import signed_now
from tests.ledger.test_tree import NOW, append
from tests.operator import metrics
from tests.world import PASSWORD, START, World, new_id, probing

from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import (
    Fenced,
)
from scalewitness.intake.tasks import lapse_due_offers, update_records
from scalewitness.ledger.models import Checkpoint, Entry, SignedHead
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.ledger.tasks import sign_head
from scalewitness.mail.models import Letter
from scalewitness.mail.services.delivering import claim

pytestmark = pytest.mark.django_db


# --- closed -------------------------------------------------------------------------------


def test_a_fenced_log_takes_nothing_by_any_way(world: World) -> None:
    animal = world.animal("A1")
    odile = Api(world.odile)
    size = tip().size
    raise_fence("restored", START)
    with pytest.raises(Fenced):
        world.call(world.odile, animal, "male")
    with pytest.raises(Fenced):
        append(1)
    item = world.item("call_made", animal.pk, probing("male", "A1"))
    edit = {
        "id": str(new_id()),
        "record": f"animals/{animal.pk}",
        "base_version": 1,
        "fields": {"name": "Ash"},
    }
    for sent in ([item], [edit], [edit, item], [{"kind": "nonsense"}]):
        pushed = odile.post("/push", {"items": sent})
        assert (pushed.status, pushed.code) == (503, "fenced")
    with pytest.raises(Fenced):
        create_collection(world.odile, new_id(), "Another", START)
    renamed = odile.patch(f"/animals/{animal.pk}", {"name": "Ash"}, {"If-Match": '"v1"'})
    assert (renamed.status, renamed.code) == (503, "fenced")
    assert lapse_due_offers() == update_records() == 0
    assert (tip().size, Entry.objects.count()) == (size, size)


def test_a_fenced_log_is_read(world: World) -> None:
    animal = world.verified("V1")
    odile = Api(world.odile)
    raise_fence("restored", START)
    assert odile.get(f"/animals/{animal.pk}/standing").body["label"] == "verified male"
    browser = Client()
    entered = {"login": world.odile.email, "password": PASSWORD}
    assert browser.post("/accounts/login/", entered).status_code == 302
    page = browser.get(f"/animals/{animal.pk}")
    assert page.status_code == 200
    assert "can only be read for now" in page.content.decode()
    sent = browser.post(f"/animals/{animal.pk}/calls/new/probing", {})
    assert sent.status_code == 503
    assert "Nothing was recorded" in sent.content.decode()
    ready = Client().get("/health/ready")
    assert (ready.status_code, ready.json()["log"]) == (200, "fenced")
    assert "\nscalewitness_log_fenced 1.0\n" in metrics().content.decode()


def test_without_a_fence_no_page_speaks_of_one(world: World) -> None:
    browser = Client()
    browser.force_login(world.odile)
    assert "can only be read" not in browser.get("/animals").content.decode()
    assert "\nscalewitness_log_fenced 0.0\n" in metrics().content.decode()


def test_nothing_is_signed_behind_a_fence() -> None:
    append(3)
    raise_fence("restored", NOW)
    with pytest.raises(Fenced):
        sign_checkpoint(NOW)
    sign_head()  # the task says so in the worker's log and waits
    assert not Checkpoint.objects.exists()
    assert SignedHead.objects.get().size == 0


def test_what_was_signed_before_may_still_be_shown() -> None:
    append(3)
    kept = sign_checkpoint(NOW)
    raise_fence("restored", NOW)
    assert sign_checkpoint(NOW).pk == kept.pk


def test_no_letter_leaves_behind_a_fence(world: World) -> None:
    world.invite(world.greta, world.animal("A1"))
    # One that a worker of the lost database had claimed, too: its lease has run out.
    Letter.objects.update(state="sending", claimed_until=START)
    raise_fence("restored", START)
    later = START + timedelta(days=1)
    assert claim(later, 10) == []
    append_size = tip().size
    adopt([read_outside(signed_now().encode())], later)
    assert len(claim(later, 10)) == 1
    assert tip().size == append_size
