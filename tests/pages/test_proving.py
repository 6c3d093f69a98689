"""Whatever happened to an animal or a sale, an honest page alarms nobody: what it shows, held to
its proof by the command, which says of a page what a browser says of it
(`tests/browser/test_proving_pages.py`)."""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.test import Client, override_settings
from django.utils import timezone
from pytest_django import DjangoDbBlocker
from tests.api.client import Api
from tests.everything import EARLIER, say_everything
from tests.pages.browser import Page
from tests.plugins.own_database import own_copy
from tests.recomputed import Sent
from tests.turns import turns
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness.domain.translog.keys import read_signer
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.mail.services.links import link_token
from scalewitness.pages.parts.proving import STANDING
from scalewitness.people.models import Keeper
from scalewitness.sales.models import OfferLink
from scalewitness_cli.recomputing import SAME
from scalewitness_cli.saved import FORMAT, check, read_saved

pytestmark = pytest.mark.one_in(2)

LOG = read_signer(settings.LOG_SIGNING_KEY).verifier


@pytest.fixture(scope="module")
def told(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    earlier = override_settings(LOG_RETIRED_KEYS=[str(EARLIER.verifier)])
    with own_copy(untouched_database, django_db_blocker), earlier:
        world = World(now=timezone.now() - timedelta(days=60))
        with override_settings(LOG_SIGNING_KEY=EARLIER.secret()):
            sign_checkpoint(world.now)
        yield say_everything(world)


def amiss(client: Client, path: str) -> list[str]:
    """What does not fit of a page, and nothing for one that proves nothing."""
    answer = client.get(path)
    assert answer.status_code == 200, path
    opened = Page(answer, path)
    shown = [given["data-shown"] for _, given in opened.tags if "data-shown" in given]
    place = next((given for _, given in opened.tags if "data-prove" in given), None)
    if place is None:
        assert not shown, path
        return []
    proofs = client.get(str(place["data-prove"]))
    assert proofs.status_code == 200, proofs.content
    file = {
        "format": FORMAT,
        "seen": int(str(place["data-seen"])),
        "shown": [one for of in shown for one in json.loads(str(of))],
        "proofs": proofs.json(),
        "map_key": client.get("/api/v1/log/map-key").json(),
    }
    return list(check(read_saved(json.dumps(file).encode()), [LOG]).amiss)


@pytest.mark.one_in(1)
def test_pages_of_animals_and_of_buyers_fit_the_log_whatever_happened(
    told: World, request: pytest.FixtureRequest
) -> None:
    """An ordinary run opens one in eight of the animals', others with each seed."""
    whose = turns(request.config, 8)
    wrong: dict[str, Any] = {}
    opened = set()
    for keeper in Keeper.objects.filter(collections__isnull=False).distinct():
        client = Client()
        client.force_login(keeper)
        for animal in Animal.objects.filter(collection__keeper=keeper):
            path = f"/animals/{animal.pk}"
            if not next(whose):
                continue
            opened.add(path)
            wrong[path] = amiss(client, path)
    for link in OfferLink.objects.filter(revoked_at=None):
        path = f"/offers/{link_token(link.pk)}"
        if Client().get(path).status_code == 200:
            opened.add(path)
            wrong[path] = amiss(Client(), path)
    found = {path: why for path, why in wrong.items() if why}
    assert not found, json.dumps(found, indent=1)
    assert sum(path.startswith("/animals/") for path in opened) >= 4
    assert sum(path.startswith("/offers/") for path in opened) > 3


def seen_whole(api: Api) -> list[dict[str, Any]]:
    """As the feed has them."""
    found: dict[str, dict[str, Any]] = {}
    page: dict[str, Any] = {"more": True}
    while page["more"]:
        after = {"cursor": page["cursor"]} if "cursor" in page else {}
        page = api.get("/changes", limit=1000, **after).body
        for item in page["items"]:
            if item["type"] == "purge":
                found.pop(item.get("animal"), None)
            elif item.get("animal"):
                found[item["animal"]["id"]] = item["animal"]
    return [one for one in found.values() if one["sight"] == "all"]


def shown_on_a_phone(animal: dict[str, Any]) -> list[dict[str, Any]]:
    """What `rackside/pure/proved.js` takes of it; `test_proved.py` holds that to the command."""
    about, condition = {"about": animal["id"]}, animal["condition"]
    standing = animal["standing"] or {"position": None}
    times = {"weighed": condition["weighed_at"], "fed": condition["fed_at"]}
    sheet = {
        "codes": sorted([one["scheme"], one["code"]] for one in animal["identifiers"]),
        "species": animal["species"]["key"],
        "hatched": animal["hatched"],
        "ended": (animal.get("ended") or {}).get("why"),
        "weight": condition["grams"],
        "shed": condition["shed"],
        "health": condition["health"],
        **{name: at and rfc3339(parse_moment(at)) for name, at in times.items()},
    }
    said = {name: standing[name] for name in STANDING if name in standing}
    return [
        about | {"kind": "sheet", "label": "It", "holds": sheet},
        about
        | {"kind": "standing", "label": "It", "position": standing["position"]}
        | ({"holds": said} if said else {}),
    ]


def test_what_a_phone_shows_fits_the_log_whatever_happened(
    told: World, request: pytest.FixtureRequest
) -> None:
    """An ordinary run asks for one in three."""
    whose = turns(request.config, 3)
    animals = 0
    for keeper in Keeper.objects.all():
        api = Api(keeper)
        for animal in filter(lambda _: next(whose), seen_whole(api)):
            proofs = api.get("/proofs", animals=animal["id"], entries="yes").body
            file = {
                "format": FORMAT,
                "seen": proofs["map"]["position"],
                "shown": shown_on_a_phone(animal),
                "proofs": proofs,
                "map_key": api.get("/log/map-key").body,
            }
            assert not check(read_saved(json.dumps(file).encode()), [LOG]).amiss, animal
            animals += 1
    assert animals > 15


def test_the_command_computes_every_standing_again_whatever_happened(told: World) -> None:
    said = Sent(Api(told.odile))
    own = said.all()
    assert set(own.values()) == {SAME, None}, own
    assert list(own.values()).count(SAME) > 15
    assert said.kinds_beside == {
        "policy_adopted",
        "numbers_adopted",
        "examiner_record_changed",
        "deceit_found",
        "dispute_opened",
        "finding_recorded",
        "finding_answered",
        "call_made",
        "call_refiled",
    }
    for reader in Keeper.objects.exclude(pk=told.odile.pk):
        assert set(Sent(Api(reader)).all().values()) <= {SAME, None}, reader


def test_a_blind_guest_is_told_that_completeness_waits_and_gets_no_proof(told: World) -> None:
    animal = told.animal("BL-1")
    told.call(told.odile, animal, "male")
    told.now = timezone.now()
    told.visit(told.greta, animal)
    client = Client()
    client.force_login(told.greta)
    page = client.get(f"/animals/{animal.pk}").content.decode()
    assert "it cannot be shown to you either that its record is complete" in page
    assert "data-prove" not in page
    assert client.get(f"/animals/{animal.pk}/proof").status_code == 404
