"""That a record is whole: what the server gives out convinces a verifier that knows nothing of it,
and whatever is altered, added or withheld does not."""

import json
from base64 import b64decode
from hashlib import sha256
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.api.client import Api
from tests.api.conftest import present
from tests.api.test_receipts import tamper, token
from tests.domain.translog.reference_map import whole
from tests.plugins.told_once import told_once
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.keys import read_signer
from scalewitness.ledger.models import Entry, MapSubject
from scalewitness.ledger.queries.tree import tip
from scalewitness.sales.models import Sale

pytestmark = pytest.mark.one_in(4)

LOG_KEY = str(read_signer(settings.LOG_SIGNING_KEY).verifier)


def asked(api: Api, *animals: Animal) -> dict[str, Any]:
    answer = api.get("/proofs", animals=",".join(str(one.pk) for one in animals))
    assert answer.status == 200, answer
    return answer.body


def map_key(api: Api) -> dict[str, Any]:
    return api.get("/log/map-key").body


def fed(api: Api) -> dict[str, dict[int, bytes]]:
    """Of the reader's feed, the bytes of entries by what they are about and their positions. The
    feed has the very bytes that were hashed; JSON read and written without spaces is those."""
    found: dict[str, dict[int, bytes]] = {}
    page: dict[str, Any] = {"more": True}
    while page["more"]:
        after = {"cursor": page["cursor"]} if "cursor" in page else {}
        page = api.get("/changes", limit=1000, **after).body
        for item in page["items"]:
            for one in item.get("facts", [item] if item["type"] == "fact" else []):
                said = json.dumps(one["entry"], separators=(",", ":"), ensure_ascii=False)
                found.setdefault(one["entry"]["about"], {})[one["position"]] = said.encode()
    return found


def check(api: Api, answer: dict[str, Any], animal: Animal, entries: dict[int, bytes]) -> int:
    return whole(answer, map_key(api), LOG_KEY, str(animal.pk), entries)


@pytest.fixture
def seen(odile: Api, world: World, animal: Animal) -> dict[int, bytes]:
    """An animal with a history, as its keeper's feed has it."""
    other = world.animal("N2")
    world.call(world.odile, other, "female")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit)
    world.call(world.odile, animal, "male")
    return fed(odile)[str(animal.pk)]


def test_what_the_feed_brought_is_all_there_is(
    odile: Api, animal: Animal, seen: dict[int, bytes]
) -> None:
    assert check(odile, asked(odile, animal), animal, seen) == tip().size - 1
    assert {"call_made", "standing_changed"} <= {json.loads(one)["kind"] for one in seen.values()}


def test_who_keeps_no_facts_gets_them_with_the_proof(
    odile: Api, animal: Animal, seen: dict[int, bytes]
) -> None:
    """The phone, which shows what follows from them."""
    answer = odile.get("/proofs", animals=str(animal.pk), entries="yes").body
    (proof,) = answer["animals"]
    entries = {one["position"]: b64decode(one["entry"]) for one in proof["entries"]}
    assert entries == seen
    assert "entries" not in asked(odile, animal)["animals"][0]


def test_an_entry_left_out_added_or_altered_is_seen(
    odile: Api, animal: Animal, seen: dict[int, bytes]
) -> None:
    answer = asked(odile, animal)
    last = max(seen)
    without = {at: one for at, one in seen.items() if at != last}
    with pytest.raises(AssertionError, match="not all that is stated"):
        check(odile, answer, animal, without)
    with pytest.raises(AssertionError, match="not all that is stated"):
        check(odile, answer, animal, seen | {last - 1: b"{}", last: seen[last]} | {0: b"{}"})
    with pytest.raises(AssertionError, match="something else"):
        check(odile, answer, animal, seen | {last: seen[last].replace(b"0", b"1", 1)})
    moved = without | {last + 1: seen[last]} if last + 1 < tip().size - 1 else None
    if moved is not None:
        with pytest.raises(AssertionError):
            check(odile, answer, animal, moved)


def test_what_is_hidden_is_counted_and_cannot_be_made_up(
    odile: Api, animal: Animal, seen: dict[int, bytes]
) -> None:
    answer = asked(odile, animal)
    (proof,) = answer["animals"]
    gone = max(seen)
    proof["hidden"] = [{"position": gone, "hash": "A" * 43 + "="}]
    kept = {at: one for at, one in seen.items() if at != gone}
    with pytest.raises(AssertionError, match="something else"):
        check(odile, answer, animal, kept)
    proof["count"] -= 1
    proof["hidden"] = []
    with pytest.raises(AssertionError, match="something else"):
        check(odile, answer, animal, kept)


def test_one_animals_place_is_no_others(
    odile: Api, world: World, animal: Animal, seen: dict[int, bytes]
) -> None:
    """Not even of two that have nothing but a registration each."""
    other = Animal.objects.exclude(pk=animal.pk).get()
    answer = asked(odile, animal, other)
    first, second = answer["animals"]
    first["path_proof"] = second["path_proof"]
    with pytest.raises(AssertionError, match="path of something else"):
        check(odile, answer, animal, seen)


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("ledger_entry", "leaf = replace(encode(leaf, 'escape'), '\"male\"', '\"fema\"')::bytea"),
        ("ledger_mapnode", "hash = sha256('x') WHERE path IS NULL"),
        ("ledger_mapsubject", "count = count - 1"),
        ("ledger_mapsubject", "chain = sha256('x')"),
        ("ledger_mapsubject", "path_proof = sha256('x')"),
    ],
)
def test_what_a_superuser_alters_does_not_hold(
    odile: Api, animal: Animal, seen: dict[int, bytes], table: str, change: str
) -> None:
    asked(odile, animal)
    tamper(table, change)
    answer = odile.get("/proofs", animals=str(animal.pk))
    if answer.status == 200:
        with pytest.raises(AssertionError):
            check(odile, answer.body, animal, fed(odile)[str(animal.pk)])
    else:
        assert answer.status == 503, answer


def test_a_blind_guest_gets_none_before_their_own_check_and_all_after(
    world: World, animal: Animal, greta: Api
) -> None:
    world.call(world.odile, animal, "male")
    present(world)
    visit = world.visit(world.greta, animal)
    for entries in ("no", "yes"):
        answer = greta.get("/proofs", animals=str(animal.pk), entries=entries).body
        assert answer["animals"] == []
    world.call(world.greta, animal, "male", visit=visit)
    answer = asked(greta, animal)
    check(greta, answer, animal, fed(greta)[str(animal.pk)])


def test_whoever_made_a_check_sees_for_ever_that_it_stands(
    world: World, animal: Animal, greta: Api
) -> None:
    """Without the access that they had: hashes, and nothing to read but their own."""
    visit = world.visit(world.greta, animal, days=1)
    world.call(world.greta, animal, "male", visit=visit)
    (own,) = Entry.objects.filter(about=animal.pk, by=world.greta.pk, kind="call_made")
    world.pass_time(days=40)
    world.call(world.odile, animal, "female")
    answer = asked(greta, animal)
    (proof,) = answer["animals"]
    assert (own.position, encode64(bytes(own.leaf_hash))) in {
        (one["position"], one["hash"]) for one in proof["hidden"]
    }
    assert set(proof) == {"id", "count", "nonce", "path_proof", "siblings", "hidden"}
    check(greta, answer, animal, {})
    whole = greta.get("/proofs", animals=str(animal.pk), entries="yes").body
    assert whole["animals"][0]["entries"] == []


def test_others_get_nothing_and_cannot_tell_it_from_no_animal(
    world: World, animal: Animal, stan: Api
) -> None:
    world.call(world.odile, animal, "male")
    assert asked(stan, animal)["animals"] == []


def test_a_buyer_is_shown_what_the_link_shows_and_how_much_there_is_besides(
    world: World, nobody: Api
) -> None:
    animal = world.verified("S1")
    present(world)
    sale = world.draft(animal)
    world.offer(sale)
    answer = nobody.get(f"/offers/{token(sale, 'offer')}/proofs").body
    (proof,) = answer["animals"]
    entries = {one["position"]: one["entry"] for one in proof.pop("entries")}
    decoded = {at: b64decode(entry) for at, entry in entries.items()}
    kinds = {json.loads(one)["kind"] for one in decoded.values()}
    assert "call_made" in kinds
    assert "animal_registered" not in kinds
    assert proof["hidden"]
    check(nobody, answer, animal, decoded)


@told_once
def on_offer(world: World) -> Sale:
    """A verified male; of the calls on it one was withdrawn."""
    animal = world.verified("S2")
    slip = world.call(world.odile, animal, "female")
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(slip.id)})
    present(world)
    sale = world.draft(animal)
    world.offer(sale)
    return sale


def by_link(sale: Sale) -> dict[str, Any]:
    answer = Api().get(f"/offers/{token(sale, 'offer')}/proofs")
    assert answer.status == 200, answer
    return answer.body


def kinds_in(proof: dict[str, Any]) -> list[str]:
    return [json.loads(b64decode(one["entry"]))["kind"] for one in proof["entries"]]


def test_a_buyers_link_proves_the_whole_deal_too(on_offer: Sale) -> None:
    answer = by_link(on_offer)
    (deal,) = answer["deal"]
    entries = {one["position"]: b64decode(one["entry"]) for one in deal["entries"]}
    assert kinds_in(deal) == ["offer_made"]
    assert deal["hidden"] == []
    alone = answer | {"animals": [deal]}
    whole(alone, map_key(Api()), LOG_KEY, str(on_offer.pk), entries)
    with pytest.raises(AssertionError, match="not all that is stated"):
        whole(alone, map_key(Api()), LOG_KEY, str(on_offer.pk), {})


def test_a_buyer_reads_that_a_call_they_see_was_withdrawn(on_offer: Sale) -> None:
    assert kinds_in(by_link(on_offer)["animals"][0]).count("call_withdrawn") == 1


def test_columns_beside_an_entry_hide_nothing_of_it(on_offer: Sale) -> None:
    before = kinds_in(by_link(on_offer)["animals"][0])
    tamper("ledger_entry", "kind = 'founder_named' WHERE kind IN ('call_made', 'standing_changed')")
    assert kinds_in(by_link(on_offer)["animals"][0]) == before


def test_a_buyers_proof_asks_the_database_no_more_for_more_entries(
    world: World, on_offer: Sale, django_assert_num_queries: Any
) -> None:
    by_link(on_offer)
    with CaptureQueriesContext(connection) as few:
        by_link(on_offer)
        asked = len(few)
    animal = on_offer.animals.get()
    for _ in range(5):
        world.call(world.odile, animal, "male")
    by_link(on_offer)
    with django_assert_num_queries(asked):
        assert len(by_link(on_offer)["animals"][0]["entries"]) > 5


def test_neighbours_proofs_tell_nothing_of_each_other(
    odile: Api, world: World, animal: Animal
) -> None:
    """Successive proofs of one animal while another gets entries, next to the public tiles: no
    hash in them is one of a leaf, a chain or a count, and what a place holds differs each time."""
    other = world.animal("N3")
    first = asked(odile, animal)["animals"][0]
    world.call(world.odile, other, "male")
    second = asked(odile, animal)["animals"][0]
    assert first["siblings"] != second["siblings"]
    row = MapSubject.objects.get(subject=other.pk)
    seen = {b64decode(one) for one in [*first["siblings"], *second["siblings"]] if one}
    hashes = {bytes(one.leaf_hash) for one in Entry.objects.all()}
    guesses = set()
    for count in range(20):
        for chain in (bytes(row.chain), bytes(32), *hashes):
            for nonce in (b"", bytes(32)):
                said = sha256(b"\x04" + nonce + count.to_bytes(8, "big") + chain).digest()
                guesses.add(sha256(b"\x01" + bytes(row.path) + said).digest())
                guesses.add(sha256(b"\x01" + sha256(other.pk.bytes).digest() + said).digest())
    assert not seen & (hashes | guesses | {bytes(row.chain)})


def test_a_hundred_at_once_and_no_more(odile: Api, world: World) -> None:
    assert odile.get("/proofs", animals="").status == 400
    many = ",".join(str(world.animal(f"M{number}").pk) for number in range(3))
    assert len(odile.get("/proofs", animals=many).body["animals"]) == 3
