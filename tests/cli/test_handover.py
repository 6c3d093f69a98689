"""What a phone had not sent when it was signed out: sent from here, once, or told."""

import base64
import json
from copy import deepcopy
from typing import Any

import pytest
from tests.cli.rooms import Machine, Room, envelope, fresh_id, new_animal, push
from tests.pictures import body_of, plain_file
from tests.world import probing

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.commitment import commit
from scalewitness_cli.identity import moment_now

pytestmark = pytest.mark.one_in(3)

SALT = "5a" * 32


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


def item(kind: str, animal: str, body: dict[str, Any], **more: Any) -> dict[str, Any]:
    made = envelope(kind, animal, body) | {"at": rfc3339(moment_now())}
    return made | {"sig": f"{'A' * 86}=="} | more


def unsent(odile: Machine, tag: str) -> tuple[str, dict[str, Any]]:
    """As a phone writes it: a call with a note, and a photo of it."""
    animal = new_animal(odile, tag)
    note = commit("held still", bytes.fromhex(SALT))
    texts = {"note": {"text": "held still", "salt": SALT}}
    call = item("call_made", animal, probing("male", tag) | {"note": note}, texts=texts)
    picture = plain_file()
    photo = item("photo_attached", animal, body_of(picture) | {"of": call["id"]})
    return animal, {
        "scalewitness": "unsent-1",
        "server": odile.url,
        "keeper": odile.api.get("keepers/me").json()["id"],
        "items": [call, photo],
        "photos": [{"id": photo["id"], "jpeg": base64.b64encode(picture).decode()}],
    }


def send(odile: Machine, content: object, status: int = 0) -> Any:
    file = odile.home / "unsent.json"
    file.write_text(content if isinstance(content, str) else json.dumps(content))
    if status:
        answer = odile.run("send", str(file))
        assert answer.status == status, answer
        return answer.err
    return odile.well("send", str(file))


def test_what_a_phone_had_not_sent_goes_from_here_and_once(odile: Machine) -> None:
    animal, content = unsent(odile, "H1")
    done = send(odile, content)
    assert done["from_file"] == {"items": 2, "photos": 1, "known": 0}
    assert (done["sent"], done["photos"], done["receipts"], done["faulty"]) == (2, 1, 2, [])
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert (call["id"], call["note"]) == (content["items"][0]["id"], "held still")
    assert call["signed"], "anew, by this device"
    photo = content["photos"][0]
    assert odile.api.get(f"photos/{photo['id']}").content == base64.b64decode(photo["jpeg"])

    again = send(odile, content)
    assert (again["from_file"], again["sent"]) == ({"items": 0, "photos": 0, "known": 2}, 0)
    assert len(odile.api.get(f"animals/{animal}/calls").json()["items"]) == 1


def test_of_a_hatch_day_it_says_that_a_phone_goes_on_with_it(odile: Machine) -> None:
    _, content = unsent(odile, "H7H")
    file = odile.home / "day.json"
    file.write_text(json.dumps(content | {"hatch_days": [{"sitting": {}, "photos": []}]}))
    told = odile.run("send", str(file))
    assert told.status == 0
    assert "Hatch days under way, left in the file: 1. A phone of yours" in told.err


def test_an_edit_of_a_record_goes_from_here_and_once(odile: Machine) -> None:
    animal, content = unsent(odile, "H8")
    version = odile.api.get(f"animals/{animal}").json()["version"]
    edit = {"id": fresh_id(), "record": f"animals/{animal}", "base_version": version}
    done = send(odile, content | {"edits": [edit | {"fields": {"rack": "R2-14"}}]})
    assert done["from_file"] == {"items": 3, "photos": 1, "known": 0}
    assert odile.api.get(f"animals/{animal}").json()["rack"] == "R2-14"
    again = send(odile, content | {"edits": [edit | {"fields": {"rack": "R2-14"}}]})
    assert (again["from_file"], again["sent"]) == ({"items": 0, "photos": 0, "known": 3}, 0)


def test_whom_a_phone_reports_is_named_before_what_it_reports(odile: Machine) -> None:
    animal, content = unsent(odile, "H9")
    who = {"id": fresh_id(), "name": "Larkmoor marker laboratory"}
    call = content["items"][0]
    call["body"] |= {"reported": {"role": "laboratory", "who": who["id"]}}
    done = send(odile, content | {"practitioners": [who]})
    assert (done["sent"], done["faulty"]) == (2, [])
    (made,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert made["examiner"] == {"role": "laboratory", **who}


def test_what_had_arrived_after_all_counts_once_and_raises_no_alarm(odile: Machine) -> None:
    animal, content = unsent(odile, "H2")
    sent = [{name: one[name] for name in one if name != "sig"} for one in content["items"]]
    push(odile.api, *sent)
    done = send(odile, content)
    assert (done["sent"], done["photos"], done["not_in_log"]) == (2, 1, 0)
    assert len(odile.api.get(f"animals/{animal}/calls").json()["items"]) == 1
    assert odile.sync()["not_in_log"] == 0


def test_a_photo_goes_whose_fact_had_arrived(odile: Machine) -> None:
    _, content = unsent(odile, "H3")
    sent = [{name: one[name] for name in one if name != "sig"} for one in content["items"]]
    push(odile.api, *sent)
    content["items"] = []
    assert send(odile, content)["photos"] == 1
    assert odile.api.get(f"photos/{content['photos'][0]['id']}").status_code == 200


def broken(content: dict[str, Any]) -> list[tuple[object, str]]:
    """Files that are no good, and what is said of them."""
    made: list[tuple[object, str]] = [
        (json.dumps(content)[:-40], "damaged"),
        ("\0\1\2", "damaged"),
        (content | {"scalewitness": "unsent-2"}, "damaged"),
        (content | {"keeper": fresh_id()}, "another keeper's"),
        (content | {"server": "https://elsewhere.example"}, "elsewhere.example"),
    ]
    for place, name, value in (
        (0, "id", "not-an-id"),
        (0, "kind", "standing_changed"),
        (0, "at", "yesterday"),
        (0, "body", {"conclusion": "maybe"}),
        (0, "texts", {"note": {"text": "another", "salt": SALT}}),
        (0, "texts", {"note": {"text": "held still", "salt": "zz"}}),
        (1, "body", content["items"][1]["body"] | {"size": 3}),
    ):
        other = deepcopy(content)
        other["items"][place][name] = value
        made.append((other, "damaged"))
    other = deepcopy(content)
    other["photos"][0]["jpeg"] = "***"
    return [*made, (other, "damaged")]


def test_a_damaged_file_or_somebody_elses_is_told_and_nothing_of_it_stored(odile: Machine) -> None:
    _, content = unsent(odile, "H4")
    before = odile.rows("SELECT count(*) FROM outbox")
    for one, word in broken(content):
        err = send(odile, one, status=1)
        assert word in err, err
        assert "Nothing of it was stored" in err
    assert odile.rows("SELECT count(*) FROM outbox") == before
    assert send(odile, content)["sent"] == 2
