"""A device's key and what it signs, over the API."""

from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.mail.services.links import link_token
from scalewitness.people.models import Device
from scalewitness.sales.models import OfferLink
from scalewitness_cli.devicekey import DeviceKey


def key_of(who: Api) -> DeviceKey:
    device = who.device
    private = Ed25519PrivateKey.generate()
    return DeviceKey(private, keeper=str(device.keeper_id), device=str(device.pk))


def enrol(who: Api, own: DeviceKey, **more: Any) -> Answer:
    sent = own.enrolment(str(new_id()), rfc3339(timezone.now()))
    return who.post(f"/devices/{own.device}/key", sent | more)


@pytest.fixture
def key(odile: Api) -> DeviceKey:
    made = key_of(odile)
    assert enrol(odile, made).status == 201
    return made


def signed(key: DeviceKey, kind: str, about: object, body: Any, **more: Any) -> dict[str, Any]:
    """An envelope for a path that says kind and subject."""
    whole = key.signed({**fact(body), "kind": kind, "about": str(about), **more})
    return {name: value for name, value in whole.items() if name not in {"kind", "about"}}


def shown(who: Api, device: str) -> Any:
    return next(one for one in who.get("/devices").body["items"] if one["id"] == device)


def test_a_key_is_enrolled_listed_and_revoked(odile: Api) -> None:
    phone = Api(odile.device.keeper, "rack phone")
    key = key_of(phone)
    assert shown(odile, key.device)["key"] is None
    made = enrol(phone, key)
    assert (made.status, made.body["status"]) == (201, "accepted")
    assert shown(odile, key.device)["key"] == {
        "public": key.public,
        "fingerprint": fingerprint(bytes.fromhex(key.public)),
        "position": made.body["position"],
        "revoked_position": None,
        "by_password_only": False,
        "recovery": False,
    }
    assert odile.delete(f"/devices/{key.device}").status == 204
    gone = shown(odile, key.device)
    entry = Entry.objects.get(kind="device_revoked")
    assert gone["key"]["revoked_position"] == entry.position
    assert gone["revoked_at"] is not None
    assert phone.get("/animals").code == "authentication_failed"
    assert leaf_of(entry).body == {"device": key.device}
    assert (entry.about, entry.by, entry.device) == (
        odile.device.keeper_id,
        odile.device.keeper_id,
        odile.device.pk,
    )


def test_revoking_twice_says_it_once(odile: Api, key: DeviceKey) -> None:
    laptop = Api(odile.device.keeper, "laptop")
    assert [laptop.delete(f"/devices/{key.device}").status for _ in range(2)] == [204, 204]
    assert Entry.objects.filter(kind="device_revoked").count() == 1


def test_a_device_may_revoke_itself(odile: Api, key: DeviceKey) -> None:
    assert odile.delete(f"/devices/{key.device}").status == 204
    assert odile.get("/animals").code == "authentication_failed"


def test_a_device_without_a_key_leaves_no_fact(odile: Api) -> None:
    lost = Api(odile.device.keeper, "lost phone")
    odile.delete(f"/devices/{lost.device.pk}")
    assert not Entry.objects.filter(kind="device_revoked").exists()


def test_the_same_enrolment_again_is_a_duplicate(odile: Api) -> None:
    key = key_of(odile)
    sent = key.enrolment(str(new_id()), rfc3339(timezone.now()))
    path = f"/devices/{key.device}/key"
    first, again = odile.post(path, sent), odile.post(path, sent)
    assert (first.status, again.status) == (201, 200)
    assert first.body["position"] == again.body["position"]


def test_enrolments_that_cannot_be(odile: Api, stan: Api, key: DeviceKey) -> None:
    second = key_of(odile)
    assert enrol(odile, second).code == "not_now"
    laptop = Api(odile.device.keeper, "laptop")
    other = key_of(laptop)
    weak, forged = enrol(laptop, other, key="00" * 32), enrol(laptop, other, key=second.public)
    assert (weak.code, weak.pointer) == ("out_of_range", "/key")
    assert (forged.status, forged.code, forged.pointer) == (422, "bad_signature", "/sig")
    assert enrol(laptop, other, key="zz").pointer == "/key"
    assert enrol(odile, other).code == "bad_signature"
    assert (enrol(stan, other).status, enrol(stan, other).code) == (404, "not_found")
    taken = DeviceKey(key._private, keeper=other.keeper, device=other.device)
    assert enrol(laptop, taken).code == "out_of_range"
    missing = laptop.post(f"/devices/{other.device}/key", {"key": other.public})
    assert (missing.status, missing.code) == (422, "wrong_shape")
    assert enrol(laptop, other).status == 201


def test_a_call_shows_whether_it_was_signed(odile: Api, key: DeviceKey, animal: Animal) -> None:
    path = f"/animals/{animal.pk}/calls"
    one = signed(key, "call_made", animal.pk, probing("male"), texts={"note": "Calm."})
    assert [odile.post(path, one).status for _ in range(2)] == [201, 200]
    odile.post(path, fact(probing("male")))
    listed = odile.get(path).body["items"]
    assert [(call["signed"], call["note"]) for call in listed] == [(True, "Calm."), (False, None)]
    assert odile.get(f"/calls/{one['id']}").body["signed"]


def test_a_push_takes_signatures_item_by_item(odile: Api, key: DeviceKey, animal: Animal) -> None:
    items = [
        key.signed({**fact(probing("male")), "kind": "call_made", "about": str(animal.pk)})
        for _ in range(3)
    ]
    items[1]["sig"] = items[0]["sig"]
    outcomes = odile.post("/push", {"items": items}).body["items"]
    assert [one["status"] for one in outcomes] == ["accepted", "refused", "accepted"]
    problem = outcomes[1]["problem"]
    assert (problem["code"], problem["status"]) == ("bad_signature", 422)
    assert problem["errors"][0]["pointer"] == "/sig"
    assert animal.calls.count() == 2


def test_a_signed_fact_names_its_own_id_and_time(
    odile: Api, key: DeviceKey, animal: Animal
) -> None:
    path = f"/animals/{animal.pk}/calls"
    one = signed(key, "call_made", animal.pk, probing("male"))
    without = {name: value for name, value in one.items() if name != "at"}
    assert odile.post(path, without).code == "bad_signature"
    nameless = {name: value for name, value in one.items() if name != "id"}
    assert odile.post(path, nameless, {"Idempotency-Key": '"k"'}).code == "bad_signature"
    assert not animal.calls.exists()


def test_what_the_path_says_is_signed_too(odile: Api, key: DeviceKey, animal: Animal) -> None:
    call = odile.post(f"/animals/{animal.pk}/calls", fact(probing("male"))).body["id"]
    sent = signed(key, "call_withdrawn", animal.pk, {"call": call})
    answer = odile.post(f"/calls/{call}/withdrawal", {**sent, "body": {}})
    assert answer.status == 201, answer
    assert leaf_of(Entry.objects.get(fact=sent["id"])).sig == sent["sig"]


def test_an_invitation_is_answered_over_a_signature(world: World, animal: Animal) -> None:
    greta = Api(world.greta)
    key = key_of(greta)
    enrol(greta, key)
    visit = world.invite(world.greta, animal, days=60)
    sent = signed(key, "visit_accepted", visit, {})
    answer = {"id": sent["id"], "at": sent["at"], "sig": sent["sig"]}
    refused = greta.post(f"/visits/{visit}/answer", {**answer, "accepted": False})
    assert refused.code == "bad_signature"
    assert greta.post(f"/visits/{visit}/answer", {**answer, "accepted": True}).status == 201


def test_a_buyer_is_told_what_was_signed_and_signs_nothing(
    world: World, nobody: Api, odile: Api, key: DeviceKey
) -> None:
    animal = world.verified("V1")
    one = signed(key, "call_made", animal.pk, probing("male"))
    assert odile.post(f"/animals/{animal.pk}/calls", one).status == 201
    world.now = timezone.now()
    sale = world.draft(animal)
    world.offer(sale)
    token = link_token(OfferLink.objects.get(sale=sale, purpose="offer").pk)
    calls = nobody.get(f"/offers/{token}").body["animals"][0]["calls"]
    assert [call["signed"] for call in calls] == [False, False, False, True]
    answer = nobody.post(f"/offers/{token}/refusal", fact(sig=one["sig"]))
    assert (answer.status, answer.code, answer.pointer) == (422, "wrong_shape", "")


def test_a_revoked_devices_last_words_are_sent_from_the_next(
    odile: Api, key: DeviceKey, animal: Animal
) -> None:
    """The call went in, the answer was lost with the phone: the same from the next device."""
    path = f"/animals/{animal.pk}/calls"
    one = signed(key, "call_made", animal.pk, probing("male"))
    unsent = signed(key, "call_made", animal.pk, probing("male"))
    odile.post(path, one)
    laptop = Api(odile.device.keeper, "laptop")
    laptop.delete(f"/devices/{key.device}")
    assert laptop.post(path, one).body["status"] == "duplicate"
    assert laptop.post(path, unsent).code == "bad_signature"
    del unsent["sig"]
    assert laptop.post(path, unsent).status == 201, "the keeper may still say it, unsigned"
    assert Device.objects.get(pk=key.device).key.public == key.public
