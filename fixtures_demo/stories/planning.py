"""Story 4: a season is planned, its most valuable male is a female, and the plan is mended."""

import time
from datetime import timedelta

from fixtures_demo.stories.stage import Person, Snake, Stage, fact, fresh_id, now
from scalewitness_cli.remote import Json

FEMALES, MALES = 12, 4
WITH_THE_FIRST = 9
"""Females that are planned with the male that has none but its seller's word for it."""
TIMEOUT = 60.0
PROMISED = 10.0
"""Seconds in which a plan that rests on a sex that fell shows what is broken, and the repair."""


def play(stage: Stage, host: Person, guest: Person) -> None:
    """Raises Broken at the first step that is not as promised."""
    stage.title("A season is planned, its most valuable male is a female, and the plan is mended")
    room = fresh_id()
    host.api.post("collections", {"id": room, "name": f"Season room {stage.run}"})
    males = [_snake(stage, f"m{n}") for n in range(MALES)]
    females = [_snake(stage, f"f{n}") for n in range(FEMALES)]
    _register(host, room, males, females)
    stage.saw(
        f"{host.name} registers {FEMALES} females and {MALES} males, one by its seller’s word"
    )
    path = f"collections/{room}/seasons/{now().year + 1}"
    _plan(stage, host, path, males, females)
    planned = _worked_out(stage, host, path)
    expected = planned["outlook"]["worth"]["expected"]
    first = next(one for one in planned["outlook"]["falls"] if one["animal"] == males[0].id)
    stage.require(first["left"] < expected / 2, "more than half of it hangs on the first", first)
    checks = [one["animal"] for one in planned["outlook"]["checks"]]
    stage.require(checks[:1] == [males[0].id], "it is to be checked first", checks)
    stage.saw(
        f"the season should bring {expected:.1f}; without {males[0].tag} {first['left']:.1f}: "
        "to be checked first"
    )
    call = _checked(stage, host, room, males[0], guest)
    mended = _mended(stage, host, path, expected, call)
    _take_up(stage, host, path, mended)


def _snake(stage: Stage, key: str) -> Snake:
    digits = str(int(stage.run, 36))[-8:]
    number = f"{'1' if key[0] == 'm' else '2'}{int(key[1:]):02}"
    return Snake(fresh_id(), key, f"{stage.run}-{key}", f"9990{digits}{number}")


def _register(host: Person, room: str, males: list[Snake], females: list[Snake]) -> None:
    hatched = (now() - timedelta(days=1600)).date().isoformat()
    items = []
    for snake in (*males, *females):
        body = {"collection": room, "species": "python_regius", "hatched": hatched}
        items.append(_item("animal_registered", snake.id, body))
        for scheme, code in (("tag", snake.tag), ("transponder", snake.transponder)):
            items.append(_item("identifier_assigned", snake.id, {"scheme": scheme, "code": code}))
    bought = males[0].probed("male", "9", "9") | {
        "observed": {"method": "statement", "source": "seller"}
    }
    items.append(_item("call_made", males[0].id, bought))
    items += [_item("call_made", one.id, one.probed("male", "9", "9")) for one in males[1:]]
    items += [_item("call_made", one.id, one.probed("female", "3", "3")) for one in females]
    host.api.push(items)


def _item(kind: str, about: str, body: Json) -> Json:
    return fact(body, about) | {"kind": kind}


def _plan(stage: Stage, host: Person, path: str, males: list[Snake], females: list[Snake]) -> None:
    """By hand, all at once; and that a male may serve so many."""
    limits = {"females_per_male": WITH_THE_FIRST}
    host.api.edit(path, 0, {"limits": limits})
    sires = [males[0]] * WITH_THE_FIRST + males[1:]
    pairs = zip(sires, females, strict=True)
    year = now().year + 1
    items = [
        _item("pairing_planned", fresh_id(), {"sire": sire.id, "dam": dam.id, "season": year})
        for sire, dam in pairs
    ]
    outcomes = host.api.post(f"{path}/change", {"read": [], "items": items})["items"]
    statuses = {one["status"] for one in outcomes}
    stage.require(statuses == {"accepted"}, "a plan is stated at once", outcomes)
    stage.saw(f"plans {len(items)} pairings at once, {WITH_THE_FIRST} of them with {males[0].tag}")


def _worked_out(stage: Stage, host: Person, path: str) -> Json:
    """The season, once the worker has seen all that is on record."""
    deadline = time.monotonic() + TIMEOUT
    while time.monotonic() < deadline:
        found = host.api.get(path)
        if found["outlook"] and not found["behind"]:
            return found
        time.sleep(0.2)
    stage.require(False, "the worker works a season out", found)
    return None


def _checked(stage: Stage, host: Person, room: str, snake: Snake, guest: Person) -> Json:
    """One blind check by somebody else; the accepted call."""
    visit = stage.visit(host, guest, room, [snake])
    stage.accept(guest, visit)
    call = fact(snake.probed("female", "3", "3", visit, held_by="keeper"))
    answer: Json = guest.api.post(f"animals/{snake.id}/calls", call)
    at = str(answer["position"] + 1)
    label = host.api.get(f"animals/{snake.id}/standing", at=at)["logged"]["label"]
    stage.require(label == "probable female", "the record takes it for a female", label)
    stage.saw(f"{guest.name} checks {snake.tag} blind and finds a female: {label}")
    return answer


def _mended(stage: Stage, host: Person, path: str, expected: float, call: Json) -> Json:
    """What is broken and how to mend it, within seconds; and the letter."""
    began = time.monotonic()
    found = _worked_out(stage, host, path)
    seconds = time.monotonic() - began
    outlook = found["outlook"]
    broken, repair = outlook["broken"], outlook["repair"]
    stage.require(broken is not None, "the plan is told to be broken", outlook)
    stage.require(
        len(broken["pairs"]) == WITH_THE_FIRST, "with every pairing that rests on it", broken
    )
    stage.require(
        broken["position"] == call["position"] + 2,
        "that a plan is affected stands right behind the check, in the same transaction",
        (call["position"], broken["position"]),
    )
    stage.require(repair is not None, "there is a repair", outlook)
    stage.require(seconds < PROMISED, f"within {PROMISED:.0f} s", seconds)
    letter = stage.letters.wait(host.email, "pairing_affected")
    stage.require(f"/{path}" in letter.text, "the letter leads to the season", letter.text)
    stage.saw(f"plan affected at {broken['position']}; the letter: “{letter.subject}”")
    now_brings, mends = outlook["worth"]["expected"], repair["expected"]
    stage.require(now_brings < mends, "the repair brings more", (now_brings, mends))
    stage.saw(
        f"{seconds:.1f} s later: it was to bring {expected:.1f}, brings {now_brings:.1f}, and "
        f"{mends:.1f} once {len(repair['dropped'])} pairings go and {len(repair['added'])} come"
    )
    return found


def _take_up(stage: Stage, host: Person, path: str, season: Json) -> None:
    """The repair, at once; a second page that read the old plan changes nothing."""
    year, repair = season["year"], season["outlook"]["repair"]
    planned = {
        (one["sire"]["animal"]["id"], one["dam"]["animal"]["id"]): one["id"]
        for one in season["pairings"]
    }
    items = [
        _item("pairing_dropped", planned[one["sire"], one["dam"]], {}) for one in repair["dropped"]
    ]
    items += [
        _item("pairing_planned", fresh_id(), one | {"season": year}) for one in repair["added"]
    ]
    sent = {"read": list(planned.values()), "items": items}
    outcomes = host.api.post(f"{path}/change", sent)["items"]
    statuses = {one["status"] for one in outcomes}
    stage.require(statuses == {"accepted"}, "the repair is taken up at once", outcomes)
    again = {"read": list(planned.values()), "items": [_item("pairing_dropped", fresh_id(), {})]}
    stage.refused(
        lambda: host.api.post(f"{path}/change", again),
        409,
        "not_now",
        "a page that read the old plan changes nothing",
    )
    mended = _worked_out(stage, host, path)["outlook"]
    kept = abs(mended["worth"]["expected"] - repair["expected"]) < 0.5
    stage.require(kept, "it brings what was promised", mended["worth"])
    stage.saw(f"{host.name} takes it up: the season should bring {mended['worth']['expected']:.1f}")
