"""Inviting by letter over the API: as on the page, and the same whoever's the address is."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.utils import timezone
from tests.api.client import Answer, Api
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339
from scalewitness.ledger.queries.tree import tip
from scalewitness.letters.visits import MOST_TO_ONE
from scalewitness.mail.models import Letter
from scalewitness.visits.models import InvitationByLetter, Visit

pytestmark = pytest.mark.django_db
NOBODY = "new.keeper@people.example"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


@pytest.fixture
def animal(world: World) -> Animal:
    animal = world.animal("R-17")
    world.now = timezone.now()
    return animal


def wanted(world: World, animal: Animal, email: str = NOBODY, **more: Any) -> dict[str, Any]:
    body = {
        "id": str(new_id()),
        "email": email,
        "collection": str(world.collection.pk),
        "animals": [str(animal.pk)],
        "opens": rfc3339(world.now),
        "closes": rfc3339(world.now + timedelta(days=3)),
    }
    return body | more


def letters(email: str) -> int:
    return Letter.objects.filter(kind="visit_by_letter", to=email).count()


def alike(answer: Answer, email: str) -> dict[str, Any]:
    return {
        key: str(value).replace(email, "ADDRESS")
        for key, value in answer.body.items()
        if key not in {"id", "invited_at"}
    }


def test_the_answer_is_the_same_whoever_has_an_account(
    world: World, odile: Api, animal: Animal
) -> None:
    size = tip().size
    answers = [
        (odile.post("/invitations", wanted(world, animal, email)), email)
        for email in (NOBODY, world.greta.email)
    ]
    assert [one.status for one, _ in answers] == [201, 201]
    first, second = (alike(*one) for one in answers)
    assert first == second
    assert (letters(NOBODY), letters(world.greta.email), tip().size) == (1, 1, size)
    listed = odile.get("/invitations").body["items"]
    assert {one["email"] for one in listed} == {NOBODY, world.greta.email}


def test_sent_again_it_is_one_and_another_under_its_id_is_refused(
    world: World, odile: Api, pim: Api, animal: Animal
) -> None:
    sent = wanted(world, animal)
    first, again = (odile.post("/invitations", sent) for _ in range(2))
    assert first.body == again.body
    assert (letters(NOBODY), InvitationByLetter.objects.count()) == (1, 1)
    other = odile.post("/invitations", sent | {"email": "another@people.example"})
    assert (other.status, other.body["code"]) == (422, "id_reused")
    assert letters("another@people.example") == 0
    world.make_partner(world.pim)
    assert pim.post("/invitations", sent).status == 404, "it is somebody else's"


def test_its_addressee_accepts_it_and_it_is_a_visit(
    world: World, odile: Api, animal: Animal
) -> None:
    greta = Api(world.greta)
    sent = wanted(world, animal, world.greta.email)
    odile.post("/invitations", sent)
    path = f"/invitations/{sent['id']}"
    (shown,) = greta.get("/invitations").body["items"]
    assert (shown["count"], shown["animals"], shown["collection"], shown["email"]) == (
        1, None, None, None,
    )  # fmt: skip
    assert Api(world.stan).post(f"{path}/answer", {"accepted": True}).status == 404
    assert odile.post(f"{path}/answer", {"accepted": True}).status == 404, "not its host"
    made = greta.post(f"{path}/answer", {"accepted": True})
    assert (made.status, made.body["id"], made.body["animals"]) == (201, sent["id"], None)
    assert Visit.objects.get().guest == world.greta
    assert odile.post("/invitations", sent).status == 200, "the visit it has become"
    assert greta.get(path).status == 404


def test_it_is_declined_and_it_is_withdrawn(world: World, odile: Api, animal: Animal) -> None:
    greta, sent = Api(world.greta), wanted(world, animal, world.greta.email)
    odile.post("/invitations", sent)
    path = f"/invitations/{sent['id']}"
    assert greta.delete(path).status == 404
    assert greta.post(f"{path}/answer", {"accepted": False}).body["state"] == "declined"
    assert greta.get(path).status == 404
    assert odile.get(path).body["state"] == "declined"
    assert odile.delete(path).status == 204
    assert (odile.get(path).status, InvitationByLetter.objects.count()) == (404, 0)


def test_what_holds_no_longer_is_refused_without_saying_why(
    world: World, odile: Api, animal: Animal
) -> None:
    greta, sent = Api(world.greta), wanted(world, animal, world.greta.email)
    odile.post("/invitations", sent)
    world.make_partner(world.greta)
    refused = greta.post(f"/invitations/{sent['id']}/answer", {"accepted": True})
    assert (refused.status, refused.body["code"]) == (409, "not_now")
    assert "Ask whoever invited you" in refused.body["detail"]


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"email": "nobody"}, "/email"),
        ({"animals": []}, "/animals"),
        ({"animals": ["0192f000-0000-7000-8000-00000000aaaa"]}, "/animals"),
        ({"closes": "2000-01-01T00:00:00.000Z"}, "/closes"),
    ],
)
def test_what_cannot_be_is_pointed_to(
    world: World, odile: Api, animal: Animal, more: dict[str, Any], pointer: str
) -> None:
    refused = odile.post("/invitations", wanted(world, animal, **more))
    assert refused.status == 422
    assert refused.body["errors"][0]["pointer"].startswith(pointer)
    assert not InvitationByLetter.objects.exists()


def test_an_address_gets_few_from_all_hosts_together(world: World, animal: Animal) -> None:
    """And whoever writes to it in vain is told, whether or not it has an account; withdrawing
    frees none."""
    most, _ = MOST_TO_ONE[0]
    for email in (NOBODY, world.greta.email):
        letter = []
        for number in range(most + 2):
            host = keeper(f"Host {number} of {len(email)}")
            world.make_partner(host)
            api, sent = Api(host), wanted(world, animal, email.upper())
            letter.append(api.post("/invitations", sent).body["letter"])
            api.delete(f"/invitations/{sent['id']}")
        assert letter == [True] * most + [False] * 2
