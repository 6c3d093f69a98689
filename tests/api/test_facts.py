"""What every fact has in common: its id, its time, its texts, and being said twice."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Identifier
from scalewitness.domain.moments import rfc3339
from scalewitness.ledger.models import Entry, Text
from scalewitness.ledger.queries.tree import tip

pytestmark = pytest.mark.one_in(4)

TAG = {"scheme": "tag", "code": "second-tag"}


@pytest.fixture
def path(animal: Animal) -> str:
    return f"/animals/{animal.pk}/identifiers"


def keyed(who: Api, path: str, key: str, body: dict[str, Any] = TAG, **more: Any) -> Answer:
    return who.post(path, {"body": body, **more}, {"Idempotency-Key": key})


# --- the id ---------------------------------------------------------------------------


def test_the_same_fact_again_is_a_duplicate(odile: Api, path: str) -> None:
    sent = fact(TAG)
    first, again = odile.post(path, sent), odile.post(path, sent)
    assert (first.status, first.body["status"]) == (201, "accepted")
    assert (again.status, again.body["status"]) == (200, "duplicate")
    assert first.body["position"] == again.body["position"]
    assert first.headers["Location"] == again.headers["Location"]
    assert Identifier.objects.filter(code="second-tag").count() == 1


def test_a_repeat_without_its_time_is_the_same_fact(odile: Api, path: str) -> None:
    sent = {"id": str(new_id()), "body": TAG}
    assert [odile.post(path, sent).body["status"] for _ in range(2)] == ["accepted", "duplicate"]


def test_an_id_stands_for_one_fact(odile: Api, path: str) -> None:
    sent = fact(TAG)
    odile.post(path, sent)
    size = tip().size
    for other in (
        {**sent, "body": {**TAG, "code": "third-tag"}},
        {**sent, "at": rfc3339(timezone.now() - timedelta(hours=1))},
    ):
        answer = odile.post(path, other)
        assert (answer.status, answer.code) == (422, "id_reused")
    assert tip().size == size


def test_another_keeper_cannot_claim_it(world: World, odile: Api, pim: Api, path: str) -> None:
    world.make_partner(world.pim)
    sent = fact(TAG)
    odile.post(path, sent)
    assert pim.post(path, sent).code == "id_reused"


def test_another_device_of_the_same_keeper_may_repeat_it(world: World, path: str) -> None:
    sent = fact(TAG)
    assert Api(world.odile).post(path, sent).status == 201
    assert Api(world.odile, "laptop").post(path, sent).status == 200


@pytest.mark.parametrize(
    "fact_id",
    ["", "1", "017F22E2-79B0-7CC3-98C4-DC0C0C07398F", "017f22e2-79b0-4cc3-98c4-dc0c0c07398f", 7],
)
def test_an_id_is_a_uuid7_in_one_spelling(odile: Api, path: str, fact_id: object) -> None:
    answer = odile.post(path, fact(TAG, id=fact_id))
    assert (answer.status, answer.code, answer.pointer) == (422, "wrong_shape", "/id")


# --- the key --------------------------------------------------------------------------


def test_without_an_id_a_key_makes_a_repeat_known(odile: Api, path: str) -> None:
    first, again = keyed(odile, path, '"k-1"'), keyed(odile, path, '"k-1"')
    assert (first.status, again.status) == (201, 200)
    assert first.body["id"] == again.body["id"]
    assert Identifier.objects.filter(code="second-tag").count() == 1


def test_a_key_stands_for_one_content(odile: Api, path: str) -> None:
    keyed(odile, path, '"k-1"')
    answer = keyed(odile, path, '"k-1"', {"scheme": "tag", "code": "third-tag"})
    assert (answer.status, answer.code) == (422, "id_reused")
    assert keyed(odile, path, '"k-2"', {"scheme": "tag", "code": "third-tag"}).status == 201


def test_a_key_is_its_senders_own(world: World, odile: Api, pim: Api, path: str) -> None:
    world.make_partner(world.pim)
    assert keyed(odile, path, '"k-1"').body["id"] != keyed(pim, path, '"k-1"').body["id"]


def test_a_key_whose_fact_was_refused_may_be_used_again(odile: Api, path: str) -> None:
    assert keyed(odile, path, '"k-1"', {"scheme": "tag", "code": ""}).status == 422
    assert keyed(odile, path, '"k-1"').status == 201


def test_neither_id_nor_key(odile: Api, path: str) -> None:
    answer = odile.post(path, {"body": TAG})
    assert (answer.status, answer.code) == (400, "idempotency_key_missing")


@pytest.mark.parametrize("key", ["bare", '""', '"a', "'a'", '"a\\"', '"ü"', f'"{"k" * 101}"', " "])
def test_a_key_is_a_quoted_string(odile: Api, path: str, key: str) -> None:
    """A structured-field String (RFC 8941, 3.3.3)."""
    answer = keyed(odile, path, key)
    assert (answer.status, answer.code) == (400, "malformed")


# --- the time -------------------------------------------------------------------------


def test_claimed_and_received_time_are_both_kept(odile: Api, path: str) -> None:
    at = timezone.now() - timedelta(days=3)
    answer = odile.post(path, fact(TAG, at=rfc3339(at)))
    entry = Entry.objects.get(fact=answer.body["id"])
    assert abs(entry.claimed_at - at) < timedelta(seconds=1)
    assert timezone.now() - entry.received_at < timedelta(seconds=20)
    assert entry.device == odile.device.pk


def test_a_clock_somewhat_ahead_is_flagged(odile: Api, path: str) -> None:
    answer = odile.post(path, fact(TAG, at=rfc3339(timezone.now() + timedelta(hours=2))))
    assert (answer.status, answer.body["flags"]) == (201, ["clock_ahead"])


@pytest.mark.parametrize(
    ("at", "code"),
    [
        pytest.param(
            rfc3339(timezone.now() + timedelta(days=2)), "future_date", id="the day after tomorrow"
        ),
        ("1900-01-01T00:00:00Z", "out_of_range"),
        ("2026-11-01T09:00:00", "wrong_shape"),
        ("2026-13-01T09:00:00Z", "wrong_shape"),
        ("0000-00-00T00:00:00Z", "wrong_shape"),
        ("yesterday", "wrong_shape"),
        ("\x00", "wrong_shape"),
        (1761987600, "wrong_shape"),
    ],
)
def test_times_that_cannot_be(odile: Api, path: str, at: object, code: str) -> None:
    answer = odile.post(path, fact(TAG, at=at))
    assert (answer.status, answer.code, answer.pointer) == (422, code, "/at")


def test_any_offset_will_do(odile: Api, path: str) -> None:
    assert odile.post(path, fact(TAG, at="2026-11-01T09:00:00.5+05:30")).status == 201


# --- the texts ------------------------------------------------------------------------


def note(who: Api, animal: Animal, texts: object, **body: Any) -> Answer:
    noted = {"noted": {"type": "weight", "grams": "900"}, **body}
    return who.post(f"/animals/{animal.pk}/husbandry", fact(noted, texts=texts))


def test_a_text_stays_beside_the_log(odile: Api, animal: Animal) -> None:
    answer = note(odile, animal, {"note": "Weighed by Ana, who rents room 4."})
    entry = Entry.objects.get(fact=answer.body["id"])
    assert b"Ana" not in bytes(entry.leaf)
    assert Text.objects.get(fact=entry.fact).text == "Weighed by Ana, who rents room 4."


def test_a_client_may_bring_its_own_salt(odile: Api, animal: Animal) -> None:
    salted = {"note": {"text": "Calm.", "salt": "ab" * 32}}
    assert note(odile, animal, salted).status == 201


@pytest.mark.parametrize(
    ("texts", "pointer"),
    [
        ({"note": ""}, "/texts/note"),
        ({"note": "x" * 4001}, "/texts/note"),
        ({"note": "a\x00b"}, "/texts/note"),
        ({"note": 5}, "/texts"),
        ({"secret": "x"}, "/texts"),
        ({"note": {"text": "x", "salt": "short"}}, "/texts/note/salt"),
        ([], "/texts"),
    ],
)
def test_texts_that_cannot_be(odile: Api, animal: Animal, texts: object, pointer: str) -> None:
    answer = note(odile, animal, texts)
    assert answer.status == 422
    assert (answer.code in {"wrong_shape", "out_of_range"}, answer.pointer) == (True, pointer)


def test_a_commitment_comes_with_its_text(odile: Api, animal: Animal) -> None:
    answer = note(odile, animal, {}, note="0" * 64)
    assert (answer.status, answer.code, answer.pointer) == (422, "wrong_shape", "/body/note")
