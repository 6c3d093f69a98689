"""Signing in on a device, and out of it for good."""

from tests.api.client import Answer, Api
from tests.second_factors import WRONG, app_of
from tests.world import PASSWORD, World

from scalewitness.people.models import Device


def sign_in(who: Api, email: str, password: str = PASSWORD, name: str = "rack phone") -> Answer:
    return who.post("/devices", {"email": email, "password": password, "name": name})


def test_a_device_is_enrolled_and_its_token_works(world: World, nobody: Api) -> None:
    answer = sign_in(nobody, world.odile.email)
    assert answer.status == 201
    device = Device.objects.get(pk=answer.body["id"])
    assert (device.name, device.keeper) == ("rack phone", world.odile)
    nobody.headers["Authorization"] = f"Bearer {answer.body['token']}"
    assert nobody.get("/keepers/me").body["id"] == str(world.odile.pk)


def test_a_token_rests_hashed(world: World, nobody: Api) -> None:
    token = sign_in(nobody, world.odile.email).body["token"]
    kept = Device.objects.get(keeper=world.odile).token
    assert kept is not None
    assert token not in str(kept.__dict__)


def test_wrong_address_and_wrong_password_look_alike(world: World, nobody: Api) -> None:
    one = sign_in(nobody, world.odile.email, "another password")
    other = sign_in(nobody, "nobody@keepers.example")
    assert (one.status, one.code) == (401, "wrong_credentials")
    assert one.body == other.body
    assert "WWW-Authenticate" in one.headers


def test_a_closed_account_does_not_open(world: World, nobody: Api, odile: Api) -> None:
    world.odile.is_active = False
    world.odile.save()
    assert sign_in(nobody, world.odile.email).code == "wrong_credentials"
    assert odile.get("/animals").code == "authentication_failed"


def test_an_address_is_known_however_it_is_written(world: World, nobody: Api) -> None:
    assert sign_in(nobody, world.odile.email.upper()).status == 201


def test_control_characters_are_no_device_name(world: World, nobody: Api) -> None:
    answer = sign_in(nobody, world.odile.email, name="phone\x00")
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/name")


def test_ones_devices_are_listed_and_the_one_asking_marked(world: World, odile: Api) -> None:
    laptop = Api(world.odile, "laptop")
    shown = {one["name"]: one for one in laptop.get("/devices").body["items"]}
    assert (shown["laptop"]["this"], shown["phone"]["this"]) == (True, False)


def test_a_revoked_device_is_out_at_once(world: World, odile: Api) -> None:
    lost = Api(world.odile, "lost phone")
    assert odile.delete(f"/devices/{lost.device.pk}").status == 204
    answer = lost.get("/animals")
    assert (answer.status, answer.code) == (401, "authentication_failed")
    shown = {one["name"]: one for one in odile.get("/devices").body["items"]}
    assert shown["lost phone"]["revoked_at"] is not None


def test_revoking_twice_changes_nothing(world: World, odile: Api) -> None:
    lost = Api(world.odile, "lost phone")
    odile.delete(f"/devices/{lost.device.pk}")
    first = Device.objects.get(pk=lost.device.pk).revoked_at
    assert odile.delete(f"/devices/{lost.device.pk}").status == 204
    assert Device.objects.get(pk=lost.device.pk).revoked_at == first


def test_someone_elses_device_is_nothing_to_one(odile: Api, stan: Api) -> None:
    answer = stan.delete(f"/devices/{odile.device.pk}")
    assert (answer.status, answer.code) == (404, "not_found")
    assert odile.get("/animals").status == 200


def test_an_address_no_database_can_look_for_is_just_unknown() -> None:
    answer = Api().post("/devices", {"email": "a\0@b.example", "password": "x", "name": "phone"})
    assert (answer.status, answer.code) == (401, "wrong_credentials")


# --- the second factor ------------------------------------------------------------------


def with_code(who: Api, email: str, code: str, password: str = PASSWORD) -> Answer:
    said = {"email": email, "password": password, "name": "phone", "code": code}
    return who.post("/devices", said)


def test_a_password_alone_makes_no_device_of_who_has_a_second_factor(
    world: World, nobody: Api
) -> None:
    app = app_of(world.odile)
    asked = sign_in(nobody, world.odile.email)
    assert (asked.status, asked.code) == (401, "second_factor_required")
    assert asked.body["kinds"] == ["totp", "recovery_code"]
    wrong = with_code(nobody, world.odile.email, WRONG)
    assert (wrong.status, wrong.code) == (401, "second_factor_wrong")
    assert not Device.objects.filter(keeper=world.odile).exists()
    code = app.code()
    assert with_code(nobody, world.odile.email, code).status == 201
    again = with_code(nobody, world.odile.email, code)
    assert (again.status, again.code) == (401, "second_factor_wrong")
    assert with_code(nobody, world.odile.email, app.recovery[0]).status == 201


def test_who_does_not_know_the_password_learns_nothing_of_the_second_factor(
    world: World, nobody: Api
) -> None:
    app = app_of(world.odile)
    without = sign_in(nobody, world.stan.email, "another password")
    for code in (None, app.code(), WRONG):
        given = {"email": world.odile.email, "password": "another password", "name": "phone"}
        wrong = nobody.post("/devices", given | ({"code": code} if code else {}))
        assert (wrong.status, wrong.body) == (without.status, without.body)
    assert "used" not in app.row.data, "nor is a code used up"


def test_where_the_operator_asks_for_one_a_keeper_without_is_told_what_to_do(
    world: World, nobody: Api, settings: object
) -> None:
    settings.SECOND_FACTOR = "required"
    refused = sign_in(nobody, world.odile.email)
    assert (refused.status, refused.code) == (403, "second_factor_missing")
    assert "set up" in refused.body["detail"]
