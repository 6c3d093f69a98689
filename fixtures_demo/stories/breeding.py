"""Story 3: the sex of a sold animal is contradicted, and put right."""

import re
from collections.abc import Sequence

from fixtures_demo.letters import Letter
from fixtures_demo.stories.buying import Deal
from fixtures_demo.stories.stage import Person, Stage, fact, fresh_id
from scalewitness_cli.remote import Api, Json

DERIVED_ID = re.compile(r"<[0-9a-f]{32}@\S+>")
"""Message-IDs are derived from kind, cause and recipient, never drawn anew for a try."""


def play(stage: Stage, deal: Deal, contrary: Person, independent: Person) -> None:
    """Raises Broken at the first step that is not as promised."""
    stage.title("A sold animal's sex is contradicted, and put right")
    call = _contradict(stage, deal, contrary)
    fell = _fall(stage, deal, call)
    _read_disclosure(stage, deal, fell, "verified female", "contested")
    _acknowledge(stage, deal, fell)
    dispute = _look_at_dispute(stage, deal, call)
    recheck = _recheck(stage, deal, independent)
    _find(stage, deal, dispute, call, recheck)
    restored = _restored(stage, deal, 2)
    _read_disclosure(stage, deal, restored, "verified female", "verified female")
    _look_at_letters(stage, deal)


def _contradict(stage: Stage, deal: Deal, guest: Person) -> Json:
    """A blind visitor finds the other sex; the accepted call."""
    host, snake = deal.room.keeper, deal.room.checked
    visit = stage.visit(host, guest, deal.room.collection, [snake])
    stage.letters.wait(guest.email, "visit_invitation")
    stage.accept(guest, visit)
    call = fact(snake.probed("male", "9", "9.5", visit, held_by="keeper"))
    answer: Json = guest.api.post(f"animals/{snake.id}/calls", call)
    stage.saw(f"{guest.name} checks {snake.name} blind and finds a male: {answer['position']}")
    return answer


def _fall(stage: Stage, deal: Deal, call: Json) -> Json:
    """The label falls at the very next position, and what it causes stands right behind it."""
    api, animal, position = deal.room.keeper.api, deal.room.checked.id, call["position"]
    before = _label(api, animal, position)
    after = _label(api, animal, position + 1)
    stage.require(
        (before, after) == ("verified female", "contested"),
        "verified up to the call, contested at the very next position",
        (before, after),
    )
    stage.saw(f"position {position}: {before}; position {position + 1}: {after}")
    owed = stage.only(_disclosures(api, deal), "one disclosure is owed")
    dispute = _dispute(stage, deal)
    follow = [owed["position"], dispute["position"]]
    stage.require(
        sorted(follow) == [position + 2, position + 3],
        "disclosure and dispute follow at once, in the same transaction",
        follow,
    )
    stage.saw(f"disclosure owed at {follow[0]}, dispute opened at {follow[1]}: nothing between")
    return owed


def _label(api: Api, animal: str, at: int) -> str:
    return str(api.get(f"animals/{animal}/standing", at=str(at))["logged"]["label"])


def _disclosures(api: Api, deal: Deal) -> list[Json]:
    """The sale's disclosures, oldest first."""
    found = [one for one in api.get("disclosures")["items"] if one["sale"] == deal.id]
    return sorted(found, key=lambda one: int(one["position"]))


def _dispute(stage: Stage, deal: Deal) -> Json:
    """The one dispute about the animal sold."""
    api, animal = deal.room.keeper.api, deal.room.checked.id
    listed = [one for one in api.get("disputes")["items"] if one["animal"]["id"] == animal]
    found = stage.only(listed, "one dispute is open")
    return api.get(f"disputes/{found['id']}")


def _read_disclosure(stage: Stage, deal: Deal, owed: Json, was: str, now: str) -> None:
    """The letter that went out: both parts, both versions, fixed headers."""
    count = 1 if owed["change"] == "fell" else 2
    letter = stage.letters.wait(deal.email, "disclosure", count)
    labels = (owed["was"]["label"], owed["now"]["label"])
    stage.require(labels == (was, now), "the record keeps both versions", labels)
    for part, text in (("text", letter.text), ("HTML", letter.html)):
        said = [
            str(one["position"]) in text and one["label"] in text
            for one in (owed["was"], owed["now"])
        ]
        stage.require(all(said), f"both versions stand in the {part} part", text)
    automatic = str(letter.message["Auto-Submitted"])
    stage.require(automatic == "auto-generated", "the letter says it is automatic", automatic)
    stage.require(
        DERIVED_ID.fullmatch(letter.id) is not None, "its Message-ID is derived", letter.id
    )
    stage.saw(f"through Celery and SMTP: “{letter.subject}”")
    stage.saw(f"  text and HTML, was “{was}”, now “{now}”, {letter.id}")


def _acknowledge(stage: Stage, deal: Deal, owed: Json) -> None:
    """The buyer follows the letter's link and confirms having read it."""
    token = _letters_of(stage, deal)[0].token()
    buyer = Api(stage.url)
    shown = stage.only(buyer.get(f"offers/{token}/disclosure")["items"], "one is shown")
    stage.require(shown["id"] == owed["id"], "the link shows this disclosure", shown)
    named = {"id": fresh_id(), "disclosure": owed["id"]}
    buyer.post(f"offers/{token}/acknowledgement", named)
    seen = deal.room.keeper.api.get(f"disclosures/{owed['id']}")
    stage.require(bool(seen["acknowledged_at"]), "the seller sees the acknowledgement", seen)
    stage.saw(f"{deal.buyer} opens the letter's link and acknowledges; the seller sees it")


def _look_at_dispute(stage: Stage, deal: Deal, call: Json) -> str:
    """The open dispute with its evidence; returns its id."""
    dispute = _dispute(stage, deal)
    evidence = dispute["evidence"]
    times = [one["examined_at"] for one in evidence]
    stage.require(dispute["open"] and times == sorted(times), "evidence in time order", times)
    stage.require(
        call["id"] in [one["id"] for one in evidence], "the contrary call is there", times
    )
    stage.saw("the dispute shows the evidence in time order, with who knew what:")
    for one in evidence:
        told = f"told “{one['anchored_to']}”" if one["anchored_to"] else "told of no earlier call"
        knew = "blind" if one["blind"] else told
        print(
            f"        {one['examiner']['name']}, {one['examiner']['role']}: "
            f"{one['method']}, {one['conclusion']} ({knew})",
            flush=True,
        )
    return str(dispute["id"])


def _recheck(stage: Stage, deal: Deal, guest: Person) -> Json:
    """An independent keeper checks blind and finds the original sex, though not surely."""
    host, snake = deal.room.keeper, deal.room.checked
    visit = stage.visit(host, guest, deal.room.collection, [snake])
    stage.letters.wait(guest.email, "visit_invitation")
    stage.accept(guest, visit)
    call = fact(snake.probed("female", "3", "3", visit, sureness="unsure", held_by="keeper"))
    answer: Json = guest.api.post(f"animals/{snake.id}/calls", call)
    label = _label(host.api, snake.id, answer["position"] + 1)
    stage.require(label == "contested", "an unsure recheck does not restore by itself", label)
    stage.saw(f"{guest.name} rechecks blind: female, unsure as it tensed; still {label}")
    return answer


def _find(stage: Stage, deal: Deal, dispute: str, call: Json, recheck: Json) -> None:
    """The finding proposes to set the contrary call aside; once the buyer agrees by their link
    it no longer counts, and stays visible."""
    api, animal = deal.room.keeper.api, deal.room.checked.id
    finding = fact(
        {"outcome": "call_set_aside", "proposed": [call["id"]], "basis": "agreement"},
        reasons=f"Contradicted by the blind recheck at position {recheck['position']}.",
    )
    api.post(f"disputes/{dispute}/finding", finding)
    found = api.get(f"disputes/{dispute}")["finding"]
    claim = "The seller says that both sides agree; the buyer has not confirmed it."
    stage.require(found["word"] == claim, "what the seller says of the buyer is theirs", found)
    stage.saw(f"the finding: “{found['word']}” The call goes on counting")
    answer = _agree(stage, deal, dispute)
    label = _label(api, animal, answer["position"] + 1)
    stage.require(label == "verified female", "the sex is verified again at once", label)
    kept = api.get(f"calls/{call['id']}")
    stage.require(kept["set_aside"] and kept["weight"] is None, "kept, but not counted", kept)
    stage.saw(f"{deal.buyer} agrees by link, and it is set aside: {label} again")
    stage.saw("the call set aside stays visible and no longer counts")


def _agree(stage: Stage, deal: Deal, dispute: str) -> Json:
    """The buyer reads the finding behind the link in its letter, and agrees."""
    token = stage.letters.wait(deal.email, "finding").token()
    buyer = Api(stage.url)
    shown = stage.only(buyer.get(f"offers/{token}/dispute")["items"], "their dispute is shown")
    found = shown["finding"]
    named = {"id": fresh_id(), "dispute": dispute, "finding": found["id"]}
    said = named | {"agrees": True, "set_aside": found["would_set_aside"]}
    answer: Json = buyer.post(f"offers/{token}/finding-answer", said)
    return answer


def _restored(stage: Stage, deal: Deal, count: int) -> Json:
    owed = _disclosures(deal.room.keeper.api, deal)
    changes = [one["change"] for one in owed]
    stage.require(changes == ["fell", "restored"], "one disclosure each way", changes)
    return owed[count - 1]


def _letters_of(stage: Stage, deal: Deal) -> Sequence[Letter]:
    return stage.letters.to(deal.email, "disclosure")


def _look_at_letters(stage: Stage, deal: Deal) -> None:
    """Exactly one letter for each cause, and the record knows that it went."""
    stage.letters.wait(deal.email, "finding")
    ids = [letter.id for letter in stage.letters.to(deal.email)]
    stage.require(len(ids) == len(set(ids)), "no letter came twice", ids)
    disclosures = [letter.id for letter in _letters_of(stage, deal)]
    stage.require(len(disclosures) == 2, "exactly one letter for each disclosure", disclosures)
    api = deal.room.keeper.api
    told = [one for owed in _disclosures(api, deal) for one in owed["letters"]]
    told += api.get(deal.path)["letters"]
    waiting = [one for one in told if one["state"] != "sent"]
    stage.require(bool(told) and not waiting, "every letter's delivery is recorded", waiting)
    stage.saw(f"{len(ids)} letters to {deal.buyer}, none twice; the record has each as sent")
