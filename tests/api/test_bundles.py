"""An animal's record as one file: it convinces a reader who has the log's key and nothing else, and
whatever is altered, left out or added does not."""

import json

import pytest
from django.conf import settings
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.bundles import ELSEWHERE, STRANGE, altered, body_for, carried, with_entry
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.domain.translog.bundle import (
    MEDIA_TYPE,
    MOST_BYTES,
    BadBundle,
    check,
    read_bundle,
)
from scalewitness.domain.translog.keys import read_signer
from scalewitness.ledger.models import Text
from scalewitness_cli.bundles import judge
from scalewitness_cli.recomputing import SAME

pytestmark = pytest.mark.one_in(4)

LOG_KEY = read_signer(settings.LOG_SIGNING_KEY).verifier


def fetched(api: Api, animal: Animal) -> bytes:
    answer = api.get(f"/animals/{animal.pk}/bundle")
    assert answer.status == 200, answer
    return json.dumps(answer.body).encode()


@pytest.fixture
def checked(world: World) -> Animal:
    animal = world.verified("V-1", "female")
    world.call(world.odile, animal, "female", texts={"note": "She was calm."})
    return animal


def test_it_holds_all_there_is_and_the_standing_is_computed_again(
    odile: Api, checked: Animal
) -> None:
    found = judge(read_bundle(fetched(odile, checked)), [LOG_KEY])
    kinds = [one.kind for one in found.checked.entries.values()]
    assert kinds.count("call_made") == 4
    assert found.standing is not None
    assert (found.standing["label"], found.computed) == ("verified female", SAME)
    assert found.signed_at
    assert list(found.checked.texts.values()) == ["She was calm."]


def test_it_names_nobody(odile: Api, world: World, checked: Animal) -> None:
    text = fetched(odile, checked).decode()
    for keeper in (world.odile, world.greta):
        assert keeper.name not in text
        assert keeper.email not in text


def test_a_text_that_was_erased_is_in_no_later_bundle(odile: Api, checked: Animal) -> None:
    Text.objects.all().delete()
    assert check(read_bundle(fetched(odile, checked)), [LOG_KEY]).texts == {}


def test_what_is_altered_left_out_or_added_is_seen(odile: Api, checked: Animal) -> None:
    data = fetched(odile, checked)
    parts = json.loads(data)
    other = {**parts["openings"][0], "text": "She was not."}
    spoilt: dict[str, bytes] = {
        "an entry altered": with_entry(data, lambda leaf: leaf.replace(b"python", b"pithon")),
        "an entry left out": altered(data, entries=parts["entries"][:-1]),
        "an entry twice": altered(data, entries=[*parts["entries"], parts["entries"][0]]),
        "another's entry": altered(data, entries=[*parts["entries"], parts["map"]]),
        "moved": altered(
            data, entries=[{**parts["entries"][0], "position": 1}, *parts["entries"][1:]]
        ),
        "another animal": altered(data, animal="01890000-0000-7000-8000-0000000000bb"),
        "another text": altered(data, openings=[other]),
        "another map": altered(data, map=parts["entries"][0]),
        "another checkpoint": carried(data),
        "its rule altered": altered(data, rested_on=[*parts["entries"][:1], parts["map"], other]),
    }
    for what, one in spoilt.items():
        with pytest.raises(BadBundle):
            judge(read_bundle(one), [LOG_KEY])
        assert what
    assert judge(read_bundle(data), [LOG_KEY]).computed == SAME


def test_signed_by_whom_nobody_trusts_it_says_nothing(odile: Api, checked: Animal) -> None:
    other = read_bundle(carried(fetched(odile, checked)))
    assert judge(other, [ELSEWHERE.verifier]).checked.head.origin == ELSEWHERE.name
    with pytest.raises(BadBundle, match="cannot be relied on"):
        judge(other, [STRANGE.verifier])
    with pytest.raises(BadBundle, match="no key"):
        judge(other, [])


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{}",
        b"[" * 100_000,
        b'{"format":"scalewitness bundle, version 1"}',
        b" " * (MOST_BYTES + 1),
        b"PK\x03\x04" + bytes(100),
    ],
    ids=["nothing", "empty", "nested", "cut off", "too long", "an archive"],
)
def test_what_is_no_bundle_is_refused_at_once(data: bytes) -> None:
    with pytest.raises(BadBundle):
        read_bundle(data)


def test_a_blind_guest_is_told_that_there_is_none_for_them(
    world: World, odile: Api, greta: Api, stan: Api, animal: Animal
) -> None:
    present(world).visit(world.greta, animal)
    before = greta.get(f"/animals/{animal.pk}/bundle")
    world.call(world.odile, animal, "female")
    after = greta.get(f"/animals/{animal.pk}/bundle")
    assert (before.status, before.body) == (after.status, after.body)
    assert "without knowing what others stated" in after.body["detail"]
    assert stan.get(f"/animals/{animal.pk}/bundle").code == "not_found"


def test_who_may_not_read_an_entry_gets_no_bundle(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    """The parents are named in one, and she is to check the dam blind."""
    dam = world.animal("D-1")
    young = world.animal("Y-1", dam=str(dam.pk))
    world.view(world.greta, young)
    present(world).visit(world.greta, dam)
    answer = greta.get(f"/animals/{young.pk}/bundle")
    assert (answer.status, answer.code) == (403, "not_allowed"), answer
    assert "no access to some entries" in answer.body["detail"]


def test_it_is_quoted_elsewhere_by_fact_and_file(
    world: World, odile: Api, greta: Api, checked: Animal
) -> None:
    data = carried(fetched(odile, checked))
    body = body_for(data, checked)
    made = odile.post(f"/animals/{checked.pk}/quoted", fact(body))
    assert made.status == 201, made
    path = f"/quoted/{made.body['id']}/file"
    assert odile.get(path).code == "not_found"
    refused = odile.raw("PUT", path, data[:-20], MEDIA_TYPE)
    assert (refused.status, refused.code) == (422, "not_the_file")
    assert odile.raw("PUT", path, data, MEDIA_TYPE).status == 204
    assert odile.raw("PUT", path, data, MEDIA_TYPE).status == 204, "a repeat"
    listed = odile.get(f"/animals/{checked.pk}/quoted")
    (shown,) = listed.body["items"]
    assert shown["log"] == {
        "origin": ELSEWHERE.name,
        "key": str(ELSEWHERE.verifier),
        "known": False,
    }
    assert (shown["label"], shown["quoted_as_of"]) == ("verified female", body["size"] - 1)
    assert listed.log_origin == LOG_KEY.name, "the quote's own position is of this log"
    assert odile.get(path).body["openings"] == []
    assert greta.get(path).code == "not_found"
