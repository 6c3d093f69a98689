"""Story 1: a visiting keeper checks blind."""

import json
import re
from dataclasses import dataclass
from datetime import timedelta

from fixtures_demo.stories.stage import Person, Snake, Stage, fact, fresh_id, now

SEX_WORDS = re.compile(r"\b(?:fe)?males?\b", re.IGNORECASE)
HIDDEN = ("name", "rack", "traits", "sire", "dam", "description", "standing", "calls", "version")


@dataclass(frozen=True)
class Room:
    """What the first story leaves behind: a keeper with two animals, one of them checked."""

    keeper: Person
    collection: str
    checked: Snake
    unchecked: Snake


def play(stage: Stage, host: Person, guest: Person) -> Room:
    """Raises Broken at the first step that is not as promised."""
    stage.title("A visiting keeper checks blind")
    room = _furnish(stage, host)
    snakes = [room.checked, room.unchecked]
    visit = stage.visit(host, guest, room.collection, snakes)
    stage.saw(f"{host.name} invites {guest.name} to check two animals, blind")
    _read_invitation(stage, host, guest, visit, snakes)
    stage.accept(guest, visit)
    stage.saw(f"{guest.name} accepts")
    _see_nothing(stage, guest, visit, snakes)
    _log(stage, guest, visit, room.checked)
    _see_all(stage, guest, room)
    return room


def _furnish(stage: Stage, host: Person) -> Room:
    """Two ball pythons with tags and transponders, and the keeper's own call on one."""
    collection = fresh_id()
    host.api.post("collections", {"id": collection, "name": f"Story room {stage.run}"})
    snakes = [
        _register(stage, host, collection, n, name) for n, name in enumerate(("Wren", "Tarn"))
    ]
    room = Room(host, collection, *snakes)
    call = room.checked.probed("female", "3", "3.5")
    host.api.post(f"animals/{room.checked.id}/calls", fact(call))
    stage.saw(f"{host.name} registers two ball pythons and logs a call of their own on Wren")
    return room


def _register(stage: Stage, host: Person, collection: str, number: int, name: str) -> Snake:
    digits = str(int(stage.run, 36))[-9:]
    snake = Snake(fresh_id(), name, f"{stage.run}-{number}", f"99900{digits}{number}")
    hatched = (now() - timedelta(days=1600)).date().isoformat()
    body = {"collection": collection, "species": "python_regius", "hatched": hatched}
    host.api.post("animals", fact(body, snake.id))
    for scheme, code in (("tag", snake.tag), ("transponder", snake.transponder)):
        host.api.post(f"animals/{snake.id}/identifiers", fact({"scheme": scheme, "code": code}))
    version = host.api.get(f"animals/{snake.id}")["version"]
    host.api.edit(f"animals/{snake.id}", version, {"name": name})
    return snake


def _read_invitation(
    stage: Stage, host: Person, guest: Person, visit: str, snakes: list[Snake]
) -> None:
    letter = stage.letters.wait(guest.email, "visit_invitation")
    for what in (host.name, f"/visits/{visit}"):
        stage.require(what in letter.text, f"the invitation says {what}", letter.text)
    told = [snake.name for snake in snakes if snake.name in letter.text + letter.html]
    told += SEX_WORDS.findall(letter.text)
    stage.require(not told, "the invitation tells no animal's name or sex", told)
    stage.saw(f"the invitation arrives: “{letter.subject}”; it names no animal and no sex")


def _see_nothing(stage: Stage, guest: Person, visit: str, snakes: list[Snake]) -> None:
    """The sheet and every other address keep still until the guest's own call is in."""
    sheet = guest.api.get(f"visits/{visit}/sheet")
    shown = sheet["animals"]
    stage.require(len(shown) == len(snakes), "the sheet lists both animals", shown)
    for animal in shown:
        told = [name for name in HIDDEN if name in animal]
        stage.require(animal["sight"] == "blind" and not told, "the sheet is blind", animal)
    written = json.dumps(sheet)
    stage.require(not SEX_WORDS.findall(json.dumps(shown)), "no sex on the sheet", shown)
    stage.require(not [s for s in snakes if s.name in written], "no names on the sheet", written)
    stage.require(bool(sheet["cautions"]), "the sheet shows cautions", sheet["cautions"])
    stage.saw("the sheet shows tags, species, condition and cautions: no name, call or standing")
    for path in ("calls", "standing"):
        hidden = stage.refused(
            lambda path=path: guest.api.get(f"animals/{snakes[0].id}/{path}"),
            404,
            "not_found",
            f"a blind guest is told nothing of {path}",
        )
        nowhere = stage.refused(
            lambda path=path: guest.api.get(f"animals/{fresh_id()}/{path}"),
            404,
            "not_found",
            "an unknown animal is not found",
        )
        stage.require(
            hidden.problem == nowhere.problem, "both answers are the same", hidden.problem
        )
    stage.saw("calls and standing answer 404, exactly as for an animal that does not exist")


def _log(stage: Stage, guest: Person, visit: str, snake: Snake) -> None:
    call = fact(snake.probed("female", "3", "3", visit, held_by="keeper"))
    call = guest.signed("call_made", snake.id, call)
    answer = guest.api.post(f"animals/{snake.id}/calls", call)
    accepted = answer["status"] == "accepted" and isinstance(answer["position"], int)
    stage.require(accepted, "the call is accepted with its place in the log", answer)
    told = SEX_WORDS.findall(json.dumps(answer))
    stage.require(not told, "the answer tells nothing but that", answer)
    stage.saw(
        f"{guest.name} probes left and right and signs on their phone; accepted at position "
        f"{answer['position']}"
    )
    again = guest.api.post(f"animals/{snake.id}/calls", call)
    same = (again["status"], again["position"]) == ("duplicate", answer["position"])
    stage.require(same, "the very same again is a duplicate at the same position", again)
    stage.saw(f"sent again, as after a lost answer: duplicate, position {again['position']}")


def _see_all(stage: Stage, guest: Person, room: Room) -> None:
    calls = guest.api.get(f"animals/{room.checked.id}/calls")["items"]
    stage.require(len(calls) == 2, "both calls are seen now", calls)
    signed = {one["sent_by"]["id"]: one["signed"] for one in calls}
    kept = signed == {room.keeper.id: False, guest.id: True}
    stage.require(kept, "the guest's call shows as signed on a device, the keeper's not", signed)
    standing = guest.api.get(f"animals/{room.checked.id}/standing")
    label = standing["label"]
    stage.require(label == "verified female", "two examiners agree, one blind: verified", label)
    footings = {one["sent_by"]["id"]: one["footing"] for one in calls}
    kept = footings == {room.keeper.id: "none", guest.id: "vouched"}
    stage.require(kept, "the guest's word has a footing, as keepers vouch for them", footings)
    stage.saw(f"only now {guest.name} sees the earlier call, and the standing: {label}")
    stage.refused(
        lambda: guest.api.get(f"animals/{room.unchecked.id}/standing"),
        404,
        "not_found",
        "the other animal stays blind",
    )
    stage.saw("the other animal on the sheet still tells nothing")
