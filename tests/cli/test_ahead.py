"""A visit accepted beforehand opens by itself: no command here but ``sync`` asks a server."""

import time

from tests.cli.rooms import Room, envelope, invite, new_animal, push
from tests.world import probing


def test_a_visit_accepted_beforehand_opens_without_a_signal(room: Room) -> None:
    odile = room.at_work("odile")
    animal = new_animal(odile, "Hornbeam-1")
    push(odile.api, envelope("call_made", animal, probing("female", "Hornbeam-1")))
    greta = room.keeper("greta")
    greta.sign_in(room.log_key)
    opens = time.time() + 60
    visit = invite(odile, greta, animal, opens=60)
    greta.sync()

    (to_come,) = greta.well("sheet")
    assert (to_come["id"], to_come["opened"], to_come["rows"]) == (visit, False, [])
    told = greta.run("sheet").out
    assert "open from" in told
    assert "Hornbeam" not in told
    assert greta.well("show") == []
    assert greta.run("show", "Hornbeam-1").status == 1
    for word in ("standing", "probable", '"female"', "call_made"):
        assert not greta.holds(word), word

    time.sleep(max(0.0, opens - time.time()) + 1)
    (now_open,) = greta.well("sheet")
    assert now_open["opened"]
    assert [row["id"] for row in now_open["rows"]] == [animal]
    assert "[to do] Hornbeam-1" in greta.run("sheet").out
    (id,) = greta.check("Hornbeam-1")["stored"]
    assert greta.well("sheet")[0]["rows"][0]["stored_here"]

    assert greta.sync()["sent"] == 1
    assert greta.well("sheet")[0]["rows"][0]["own_call"] == id
    calls = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert [(one["id"], one["blind"]) for one in calls][1:] == [(id, True)]


def test_it_opens_by_the_servers_time_where_the_clock_is_off(room: Room) -> None:
    odile = room.at_work("odile")
    animal = new_animal(odile, "Hornbeam-2")
    greta = room.keeper("greta")
    greta.clock = 2 * 86_400.0
    greta.sign_in(room.log_key)
    invite(odile, greta, animal, opens=43_200)
    greta.sync()
    assert greta.well("sheet")[0]["rows"] == []
    assert greta.well("show") == []


def test_a_visit_called_off_is_gone_at_the_next_contact_and_not_before(room: Room) -> None:
    odile = room.at_work("odile")
    animal = new_animal(odile, "Hornbeam-3")
    greta = room.keeper("greta")
    greta.sign_in(room.log_key)
    visit = invite(odile, greta, animal, opens=3600)
    greta.sync()
    push(odile.api, envelope("visit_cancelled", visit, {}))
    assert "open from" in greta.run("sheet").out, "nobody here knows better"
    greta.sync()
    assert greta.well("sheet") == []
    assert not greta.holds("Hornbeam-3")
    assert "cancelled at the last sync" in greta.run("sheet", visit[-12:]).out
