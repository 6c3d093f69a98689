"""A time that was put right is told as such to whoever is shown it, and to a buyer."""

from datetime import datetime, timedelta
from typing import Any

from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339

TOLD = "The time was corrected: the device's clock said"


def body(here: Here, animal: Animal, at: datetime, **more: str) -> dict[str, Any]:
    """A call by a device whose clock is two days behind."""
    corrected = {
        "read": rfc3339(at - timedelta(days=2)),
        "offset": "172800",
        "measured_at": rfc3339(here.now),
    }
    return probing("female", tag_of(animal)) | {"corrected": corrected} | more


def words(page: Any) -> str:
    return " ".join(page.text.replace("&#x27;", "'").split())


def test_the_animals_page_and_the_buyers_say_that_it_was_corrected(
    here: Here, odile: Browser, anyone: Browser
) -> None:
    animal = here.verified("C1", "female")
    visit = str(here.visit(here.stan, animal))
    here.pass_time(hours=1)
    item = here.item("call_made", animal.pk, body(here, animal, here.now, visit=visit))
    assert here.push(here.stan, item)[0].status == "accepted"
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    assert TOLD in words(odile.open(f"/animals/{animal.pk}"))
    assert TOLD in words(anyone.open(f"/offers/{here.token(sale)}"))


def test_a_call_held_for_its_host_says_so_before_they_decide(here: Here, odile: Browser) -> None:
    animal = here.animal("C2")
    visit = str(here.visit(here.greta, animal, days=1))
    here.pass_time(hours=2)
    at = here.now
    here.pass_time(days=16)
    item = here.item("call_made", animal.pk, body(here, animal, at, visit=visit), at=at)
    assert here.push(here.greta, item)[0].status == "held"
    page = words(odile.open("/held-calls"))
    assert f"{TOLD} {(at - timedelta(days=2)).day} " in page
    assert "and was 2 days behind" in page
