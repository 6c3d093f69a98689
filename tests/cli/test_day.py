"""A keeper's day with the command, against the running server."""

import stat

import pytest
from tests.cli.rooms import Machine, Room, envelope, fresh_id, invite, new_animal, push
from tests.world import PASSWORD, probing

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness_cli.identity import moment_now

pytestmark = pytest.mark.one_in(5)


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


@pytest.mark.one_in(1)
def test_checks_noted_without_a_signal_are_sent_proved_and_shown(
    room: Room, odile: Machine
) -> None:
    animal = new_animal(odile, "B1")
    odile.sync()
    more = ("--grams", "812.5", "--last-meal", "2026-11-01", "--note", "calm")
    stored = odile.check("B1", *more)["stored"]
    assert {one["state"] for one in odile.well("unsent")} == {"waiting"}
    done = odile.sync()
    assert (done["sent"], done["receipts"], done["faulty"], done["checked"]) == (3, 3, [], True)
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert (call["id"], call["signed"], call["note"]) == (stored[0], True, "calm")
    shown = odile.well("show", "B1")
    assert shown["condition"]["grams"] == "812.5"
    assert call["id"] in {one["entry"]["id"] for one in shown["facts"]}
    assert odile.well("unsent") == []

    file = odile.home / "receipt.txt"
    assert odile.run("receipt", call["id"], str(file)).status == 0
    found = odile.well("verify", str(file), "--key", room.log_key)
    assert (found["holds"], found["kind"], found["signed_on_device"]) == (True, "call_made", True)


def test_secrets_are_the_owners_alone_and_the_password_is_not_kept(odile: Machine) -> None:
    modes = {stat.S_IMODE(one.stat().st_mode) for one in odile.store.parent.glob("store.sqlite*")}
    assert modes == {0o600}
    assert stat.S_IMODE(odile.store.parent.stat().st_mode) == 0o700
    assert not odile.holds(PASSWORD)


def test_it_asks_for_what_is_not_said_and_puts_the_cautions_first(odile: Machine) -> None:
    animal = new_animal(odile, "B2")
    meal = {"noted": {"type": "meal", "taken": True}}
    push(odile.api, envelope("husbandry_noted", animal, meal) | {"at": rfc3339(moment_now())})
    odile.sync()
    typed = ["8.3:r", "8.5:r", "", "9:choice", "", "male", "certain", "", "examiner", "", "", ""]
    answer = odile.run("check", "B2", type="\n".join([*typed, ""]))
    assert answer.status == 0, answer
    assert "It was fed less than 72 hours ago" in answer.err
    assert "Never push" in answer.err
    assert "not a depth in whole or half scales" in answer.err
    odile.sync()
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert [(one["side"], one["depth"], one["stopped"]) for one in call["observed"]["passes"]] == [
        ("left", "8.5", "resistance"), ("right", "9", "choice"),
    ]  # fmt: skip
    assert (call["identified"], call["held_by"]) == ({"by": "tag", "code": "B2"}, "examiner")


@pytest.mark.one_in(1)
def test_a_blind_guest_has_the_sheet_and_nothing_of_what_others_found(
    room: Room, odile: Machine
) -> None:
    animal = new_animal(odile, "B3")
    push(odile.api, envelope("call_made", animal, probing("female", "B3")))
    (others,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    greta = room.keeper("greta")
    visit = invite(odile, greta, animal)
    greta.sign_in(room.log_key)
    greta.sync()
    (sheet,) = greta.well("sheet")
    assert (sheet["id"], [row["id"] for row in sheet["rows"]]) == (visit, [animal])
    assert greta.well("show", "B3")["facts"] == []
    for word in (others["id"], "standing", "probable", "female"):
        assert not greta.holds(word), word

    stored = greta.check("B3", "--grams", "700", "--shed", "clear")
    assert stored["not_noted"] == ["shed"]
    greta.sync()
    shown = greta.well("show", "B3")
    assert others["id"] in {one["entry"]["id"] for one in shown["facts"]}
    assert greta.well("sheet")[0]["rows"][0]["own_call"] == stored["stored"][0]


def test_a_revoked_grant_leaves_nothing_in_the_file(room: Room, odile: Machine) -> None:
    animal = new_animal(odile, "Hazelwood-7")
    pim = room.keeper("pim")
    body = {"to": pim.api.get("keepers/me").json()["id"], "role": "viewer", "animals": [animal]}
    (given,) = push(odile.api, envelope("grant_given", odile.collection, body))
    pim.sign_in(room.log_key)
    pim.sync()
    assert pim.holds("Hazelwood-7")
    push(odile.api, envelope("grant_revoked", odile.collection, {"grant": given["id"]}))
    assert pim.sync()["purged"] == 1
    assert pim.well("show") == []
    assert not pim.holds("Hazelwood-7")


def test_two_machines_of_one_keeper_conflict_openly_and_come_to_hold_the_same(
    room: Room, odile: Machine
) -> None:
    animal = new_animal(odile, "B4")
    second = room.second_machine(odile)
    second.sign_in(room.log_key)
    for one in (odile, second):
        one.sync()
        one.check("B4")
    odile.well("edit", "B4", "--name", "Moss", "--rack", "R1")
    odile.well("edit", "B4", "--name", "Bracken")  # on top of one's own: no conflict
    odile.sync()
    second.well("edit", "B4", "--name", "Fern")
    second.well("edit", "B4", "--description", "Shy")
    left = second.sync(status=1)["left"]
    assert left == {"waiting": 0, "held": 0, "conflict": 1, "refused": 0, "clock": 0}
    (edit,) = second.well("unsent", status=1)
    assert edit["answer"]["conflicts"] == {"name": {"yours": "Fern", "stands": "Bracken"}}
    assert second.run("choose", edit["id"], "--mine").status == 0
    second.sync()
    odile.sync()
    stands = odile.api.get(f"animals/{animal}").json()
    assert (stands["name"], stands["rack"], stands["description"]) == ("Fern", "R1", "Shy")
    seen = [one.well("show", "B4") for one in (odile, second)]
    assert seen[0] == seen[1]
    assert sum(one["entry"]["kind"] == "call_made" for one in seen[0]["facts"]) == 2


def test_a_refused_item_stays_until_somebody_decides(odile: Machine) -> None:
    new_animal(odile, "B5")
    odile.sync()
    (bad,) = odile.check("B5", "--at", "2031-01-01T10:00:00+00:00")["stored"]
    (good,) = odile.check("B5")["stored"]
    assert odile.sync(status=1)["left"]["refused"] == 1
    (refused,) = odile.well("unsent", status=1)
    assert (refused["id"], refused["answer"]["problem"]["code"]) == (bad, "future_date")
    assert odile.run("retry").status == 0
    assert odile.sync(status=1)["left"]["refused"] == 1
    assert odile.run("drop", bad, type="n\n").status == 1
    assert odile.run("drop", bad, "--yes").status == 0
    assert odile.sync()["sent"] == 0
    states = {one["id"]: one["state"] for one in odile.well("unsent", "--all")}
    assert (states[bad], states[good]) == ("dropped", "accepted")
    assert odile.run("drop", good, "--yes").status == 1


def test_after_signing_in_anew_what_waited_is_sent_by_the_new_device(
    room: Room, odile: Machine
) -> None:
    animal = new_animal(odile, "B6")
    odile.sync()
    odile.check("B6", "--note", "twice salted")
    ((device,),) = odile.rows("SELECT content ->> 'device' FROM identity")
    odile.api.delete(f"devices/{device}").raise_for_status()
    answer = odile.run("sync")
    assert (answer.status, "sign in again" in answer.err) == (1, True)
    odile.sign_in(room.log_key)
    done = odile.sync()
    assert (done["sent"], done["receipts"]) == (1, 1)
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert (call["signed"], call["note"]) == (True, "twice salted")


def test_another_keeper_is_not_let_into_this_ones_folder(room: Room, odile: Machine) -> None:
    stranger = room.keeper("stranger")
    answer = odile.run("sign-in", odile.url, "--email", stranger.email, "--no-log-key")
    assert (answer.status, "SCALEWITNESS_DATA" in answer.err) == (1, True)


def test_a_log_key_is_trusted_on_an_explicit_yes_only(room: Room) -> None:
    pim = room.keeper("pim")
    other = str(Signer("elsewhere.example/log", KeyType.ED25519, bytes(32)).verifier)
    flags = ("sign-in", pim.url, "--email", pim.email, "--device", "rack")
    assert pim.run(*flags, "--log-key", other).status == 1
    assert pim.sync()["checked"] is False
    refused = pim.run(*flags, type="n\n")
    assert (refused.status, room.log_key in refused.err) == (0, True)
    assert not (pim.home / ".config").exists()
    assert pim.run(*flags, type="y\n").status == 0
    assert pim.sync()["checked"] is True


def test_a_transponder_in_the_wrong_tub_is_told_and_the_check_refiled(odile: Machine) -> None:
    opened, read = new_animal(odile, "B93"), new_animal(odile, "B94")
    chip = {"scheme": "transponder", "code": "276098100000094"}
    push(odile.api, envelope("identifier_assigned", read, chip))
    odile.sync()
    noted = odile.check("B93", "--identified", "transponder:276 098 100 000 094")
    (told,) = noted["told"]
    assert told.endswith(f"scalewitness refile {noted['stored'][0]} B94.")
    call = noted["stored"][0]
    assert odile.run("refile", call, "B93").status == 1
    assert odile.run("refile", call, "B94").status == 0
    odile.sync()
    assert odile.well("unsent") == []
    (there,) = odile.api.get(f"animals/{read}/calls").json()["items"]
    (here,) = odile.api.get(f"animals/{opened}/calls").json()["items"]
    assert (there["refiles"], there["identity"]) == (True, "confirmed")
    assert (here["id"], here["refiled"], here["weight"]) == (call, True, None)


def test_a_trait_is_stated_listed_and_taken_back(odile: Machine) -> None:
    new_animal(odile, "B95")
    odile.sync()
    state = ("traits", "state", "B95")
    assert odile.run(*state, "carries_one", "moonshine", "--basis", "claimed").status == 2
    odile.well(*state, "may_carry", "albino", "--basis", "claimed", "--chance", "66")
    odile.well(*state, "shows", "a line down its back", "--basis", "seen", "--own-words")
    odile.sync()
    assert odile.well("unsent") == []
    first, words = odile.well("traits", "list", "B95")
    assert first["states"] == "may carry albino (66 % possible het)"
    assert words["states"] == "shows “a line down its back”"
    assert odile.run("traits", "withdraw", first["id"], "B95", "--note", "Mixed up.").status == 0
    assert odile.run("traits", "withdraw", "nothing", "B95").status == 1
    odile.sync()
    first, _ = odile.well("traits", "list", "B95")
    assert first["withdrawn"] is not None
    assert "Withdrawn" in odile.run("traits", "list", "B95").out


def test_what_it_carries_and_what_two_should_bring_is_shown(odile: Machine) -> None:
    """1 : 2 : 1 of two carriers (Mendel); at least one of eight: 1 - (3/4)^8 = 0.90."""
    for tag in ("B96", "B97"):
        new_animal(odile, tag)
    odile.sync()
    for tag in ("B96", "B97"):
        tested = ("--basis", "dna", "--laboratory", "Valley Bench", "--sample", tag)
        odile.well("traits", "state", tag, "carries_one", "albino", *tested)
    odile.sync()
    shown = odile.run("carries", "B96").out
    assert "het albino: more than 99 in 100" in shown
    assert "· It carries one copy of albino (100 % het), by a DNA test" in shown
    assert "No sire is known to you" in shown
    brought = odile.run("prospects", "B96", "B97", "--young", "8").out
    assert "A male and a female: 50 in 100" in brought
    assert (
        "albino: 25 in 100 of one young; 2.0 expected; as many as asked for: 90 in 100" in brought
    )
    assert "No weight of it is noted." in brought
    found = odile.well("prospects", "B96", "B97", "--young", "8", "--least", "2")
    assert found["clutch"] == "a clutch of 8"
    assert odile.run("prospects", "B96", "B96").status == 1, "with itself"


def test_an_animal_that_ended_leaves_the_list_and_comes_back(odile: Machine) -> None:
    animal = new_animal(odile, "B91")
    odile.sync()
    assert odile.run("end", "B91", "died", "--at", "2026-11-20", "--note", "old age").status == 0
    odile.sync()
    assert animal not in {one["id"] for one in odile.well("show")}
    (gone,) = odile.well("show", "--ended")
    assert (gone["id"], gone["ended"]["why"]) == (animal, "died")
    answer = odile.run("show", "B91")
    assert "(died 2026-11-20)" in answer.out
    assert "! Its keeper says that the animal died." in answer.out
    assert odile.run("end", "B91", "mistake").status == 0
    odile.sync()
    assert animal in {one["id"] for one in odile.well("show")}


def test_an_animal_registered_in_error_is_gone_for_good(odile: Machine) -> None:
    animal = new_animal(odile, "B89")
    odile.sync()
    assert odile.run("end", "B89", "registered-in-error", "--note", "twice").status == 0
    odile.sync()
    assert odile.well("unsent") == []
    for shown in (odile.well("show"), odile.well("show", "--ended")):
        assert animal not in {one["id"] for one in shown}


def test_an_unusual_depth_is_asked_again_and_what_was_refused_can_be_mended(
    odile: Machine,
) -> None:
    animal = new_animal(odile, "B92")
    odile.sync()
    flags = "--right 3:resistance --conclusion male --sureness certain --identified tag:B92 "
    flags += "--held-by keeper --left 12:resistance"
    refused = odile.run("check", "B92", *flags.split())
    assert refused.status == 2
    assert "deeper than 10 scales. Count again" in refused.err
    typed = ["12:r", "", "9:r", "", "male", "certain", "", "keeper", "", "", "", "y"]
    answer = odile.run("check", "B92", type="\n".join([*typed, ""]))
    assert answer.status == 0, answer
    assert "Did it go that deep?" in answer.err
    assert odile.run("check", "B92", *flags.split(), "--unusual").status == 0
    odile.sync()
    calls = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert [one["observed"]["unusual"] for one in calls] == [True, True]


def test_the_season_is_noted_shown_and_taken_back(odile: Machine) -> None:
    sire, dam = new_animal(odile, "S96"), new_animal(odile, "S97")
    today = moment_now().astimezone().date()
    year = today.year
    body = {"sire": sire, "dam": dam, "season": year}
    pairing = fresh_id()
    push(odile.api, envelope("pairing_planned", pairing, body))
    odile.sync()
    assert odile.run("season", "note", "S97", "laid", "--young", "5").status == 2, "not of those"
    assert odile.run("season", "note", "S97", "laid", "--on", "yesterday").status == 2
    odile.well("season", "note", "S97", "laid", "--good", "6", "--slugs", "1")
    odile.sync()
    shown = odile.run("season", "show").out
    assert f"S97 with S96, {year}" in shown
    assert "eggs laid, good: 6, slugs: 1, by" in shown
    assert f"expected: hatching, after eggs laid on {today}: 55 to 65 days (web page)" in shown
    assert odile.run("season", "show", "--due").out.strip() == "Nothing is due."
    item = next(one for one in odile.well("season", "show") if one["notes"])
    (noted,) = item["notes"]
    odile.well("season", "withdraw", noted["id"][-12:])
    odile.sync()
    item = next(one for one in odile.well("season", "show") if one["pairing"]["id"] == pairing)
    assert (item["notes"], item["windows"]) == ([], [])
    refused = odile.run("season", "withdraw", noted["id"])
    assert refused.status == 1
    assert "no such note" in refused.err


def test_a_season_is_worked_out_shown_and_changed(room: Room) -> None:
    """Of a collection with one male: of several, the best plan takes the surest."""
    odile = room.at_work("odile")
    for tag, sex in (("B98", "male"), ("B99", "female")):
        animal = new_animal(odile, tag)
        push(odile.api, envelope("call_made", animal, probing(sex, tag)))
    odile.sync()
    room_id = odile.api.get("collections").json()["items"][0]["id"]
    path = f"collections/{room_id}/seasons/{moment_now().year + 1}"
    odile.api.patch(path, json={"wants": []}, headers={"If-Match": '"v0"'}).raise_for_status()
    odile.api.post(f"{path}/best", json={}).raise_for_status()
    assert "being worked out again" in odile.run("season", "plan").out
    assert odile.run("season", "plan", "--accept", "best").status == 1
    _work_out(room)
    shown = odile.run("season", "plan").out
    assert "make B99 with B98" in shown
    assert odile.run("season", "plan", "--collection", "nowhere").status == 1
    changed = odile.run("season", "plan", "--accept", "best")
    assert changed.status == 0, changed
    assert "pairings planned" in changed.out
    assert "make B99" not in changed.out, "another plan"
    items = odile.api.get("pairings").json()["items"]
    assert len([one for one in items if one["season"] == moment_now().year + 1]) > 0


def _work_out(room: Room) -> None:
    """What the worker would do at its next turn."""
    told = "from scalewitness.seasons.tasks import compute_seasons; compute_seasons()"
    room.stack.run("compute", "django", "shell", "-c", told)
