"""Traits stated, listed and withdrawn through the API, and hidden from the blind like a call."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.families import family, result_of
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.one_in(4)

HET: dict[str, Any] = {"locus": "albino", "says": "carries_one", "basis": "claimed"}


@told_once
def snake(world: World) -> Animal:
    found = world.animal("OS-11")
    world.view(world.stan, found)
    present(world)
    return found


def test_it_is_stated_once_listed_with_who_says_so_and_withdrawn(odile: Api, snake: Animal) -> None:
    path = f"/animals/{snake.pk}/traits"
    sent = fact(HET, texts={"note": "On its bill."})
    assert odile.post(path, sent).status == 201
    assert odile.post(path, sent).status == 200
    tested = HET | {"basis": "dna"}
    texts = {"laboratory": "Valley bench", "sample": "B-1"}
    assert odile.post(path, fact(tested, texts=texts)).status == 201
    newest, first = odile.get(path).body["items"]
    assert (newest["laboratory"], newest["sample"]) == ("Valley bench", "B-1")
    assert (first["by"]["name"], first["note"]) == ("Odile Marten", "On its bill.")
    back = f"/traits/{first['id']}/withdrawal"
    assert odile.post(back, fact(texts={"note": "The bill was another's."})).status == 201
    assert odile.post(back, fact()).code == "not_now"
    (_, first) = odile.get(path).body["items"]
    assert first["withdrawn_at"] is not None


def test_another_who_sees_it_says_otherwise_and_neither_takes_back_the_others(
    odile: Api, stan: Api, snake: Animal
) -> None:
    path = f"/animals/{snake.pk}/traits"
    odile.post(path, fact(HET))
    assert stan.post(path, fact(HET | {"says": "carries_none", "basis": "young"})).status == 201
    theirs, own = odile.get(path).body["items"]
    assert [theirs["by"]["name"], own["by"]["name"]] == ["Stan Okoro", "Odile Marten"]
    assert odile.post(f"/traits/{theirs['id']}/withdrawal", fact()).status == 404
    assert stan.post(f"/traits/{own['id']}/withdrawal", fact()).status == 404


def test_what_is_in_nobodys_sheet_is_told_as_a_place_in_what_was_sent(
    odile: Api, snake: Animal
) -> None:
    answer = odile.post(f"/animals/{snake.pk}/traits", fact(HET | {"locus": "moonshine"}))
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/body/locus")
    assert "in your own words" in answer.body["detail"]


def test_many_are_read_part_by_part(odile: Api, snake: Animal) -> None:
    path = f"/animals/{snake.pk}/traits"
    for n in range(5):
        sent = fact({"says": "shows", "basis": "seen"}, texts={"words": f"mark {n}"})
        odile.post(path, sent)
    first = odile.get(path, limit=3).body
    rest = odile.get(path, limit=3, cursor=first["next"]).body
    found = [one["words"] for part in (first, rest) for one in part["items"]]
    assert found == [f"mark {n}" for n in (4, 3, 2, 1, 0)]
    assert rest["next"] is None


def test_a_blind_guest_reads_the_same_with_it_as_without(
    world: World, odile: Api, greta: Api, snake: Animal
) -> None:
    visit = world.visit(world.greta, snake)
    paths = [f"/animals/{snake.pk}{part}" for part in ("", "/traits", "/history")]
    paths += ["/animals", f"/visits/{visit}/sheet", "/changes"]
    before = [(greta.get(path).status, greta.get(path).body) for path in paths]
    linked = {"locus": "coral_glow", "says": "carries_one", "basis": "parents"}
    made = odile.post(f"/animals/{snake.pk}/traits", fact(linked))
    assert made.status == 201
    after = [(greta.get(path).status, greta.get(path).body) for path in paths]
    assert [_still(one) for one in after] == [_still(one) for one in before]
    refused = greta.post(f"/animals/{snake.pk}/traits", fact(HET))
    nowhere = greta.post(f"/animals/{new_id()}/traits", fact(HET))
    assert (refused.status, refused.body) == (404, nowhere.body)
    assert greta.get(f"/receipts/{made.body['id']}").status == 404


def _still(answer: tuple[int, Any]) -> tuple[int, Any]:
    """But for how far a feed was read, which every entry of the log moves on."""
    status, body = answer
    kept = {key: value for key, value in body.items() if key not in {"cursor", "checkpoint"}}
    return status, kept if isinstance(body, dict) else body


@pytest.mark.parametrize("who", ["stan", "odile"])
def test_words_reach_whoever_sees_it_whole_by_the_feed(
    request: pytest.FixtureRequest, odile: Api, snake: Animal, who: str
) -> None:
    sent = fact({"says": "shows", "basis": "seen"}, texts={"words": "a line down its back"})
    odile.post(f"/animals/{snake.pk}/traits", sent)
    items = request.getfixturevalue(who).get("/changes", limit=200).body["items"]
    facts = [one for item in items for one in (*item.get("facts", ()), item) if "entry" in one]
    (told,) = [one for one in facts if one["entry"]["kind"] == "trait_stated"]
    assert told["texts"] == {"words": "a line down its back"}


def test_a_claim_that_fell_is_marked(world: World, odile: Api) -> None:
    known = family(world)
    world.say(world.odile, "trait_stated", known.young.pk, HET)
    for one in (known.sire, known.dam):
        result_of(world, one, "carries_none")
    present(world)
    assert [
        one["fell"] for one in odile.get(f"/animals/{known.young.pk}/traits").body["items"]
    ] == [True]
    assert [one["fell"] for one in odile.get(f"/animals/{known.dam.pk}/traits").body["items"]] == [
        False
    ]
