"""Signing out: the server's leave ends, what was shown is gone, what was said stays."""

from tests.cli.rooms import Room, new_animal


def test_signing_out_ends_the_leave_and_keeps_what_was_said(room: Room) -> None:
    odile = room.at_work("odile")
    animal = new_animal(odile, "O1")
    odile.sync()
    (stored,) = odile.check("O1")["stored"]
    token = odile.rows("SELECT json_extract(content, '$.token') FROM identity")[0][0]
    assert odile.well("sign-out")["unsettled"] == 1
    assert not odile.holds(token)
    assert odile.rows("SELECT count(*) FROM animal") == [(0,)]
    assert odile.rows("SELECT id, state FROM outbox") == [(stored, "waiting")]
    answer = odile.run("sync")
    assert answer.status == 1
    assert "Not signed in" in answer.err
    headers = {"Authorization": f"Bearer {token}"}
    assert odile.api.get("keepers/me", headers=headers).status_code == 401

    greta = room.at_work("greta")
    greta.home, own = odile.home, greta.home
    refused = greta.run("sign-in", greta.url, "--email", greta.email, "--no-log-key")
    assert refused.status == 1
    assert "is signed in here" in refused.err
    greta.home = own

    odile.sign_in()
    assert odile.sync()["sent"] == 1
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert call["id"] == stored
    assert odile.well("show", "O1")["id"] == animal
