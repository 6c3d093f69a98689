"""Story 2: a buyer confirms what they were shown."""

import json
from dataclasses import dataclass, replace
from datetime import timedelta

from fixtures_demo.letters import Letter
from fixtures_demo.stories.stage import Stage, fact, fresh_id, now
from fixtures_demo.stories.visiting import Room
from scalewitness.domain.moments import rfc3339
from scalewitness_cli.remote import Api, Json


@dataclass(frozen=True)
class Deal:
    """A sale of the checked animal to someone without an account, as far as it has come."""

    room: Room
    id: str
    buyer: str
    email: str
    examiner: str
    token: str = ""

    @property
    def path(self) -> str:
        return f"sales/{self.id}"

    @property
    def offer(self) -> str:
        return f"offers/{self.token}"


def play(stage: Stage, room: Room, examiner: str) -> Deal:
    """``examiner``: the name of the keeper whose blind call the offer rests on. Raises Broken
    at the first step that is not as promised."""
    stage.title("A buyer confirms what they were shown")
    email = f"bo.{stage.run}@lanternby.example"
    deal = Deal(room, fresh_id(), "Bo Lanternby", email, examiner)
    deal = replace(deal, token=_offer(stage, deal).token())
    buyer = Api(stage.url)
    seen = _read(stage, buyer, deal)
    stage.refused(
        lambda: _seller_step(deal, "payment"), 409, "not_now", "no payment before confirmation"
    )
    stage.saw("the seller cannot record a payment before the buyer has confirmed (not_now)")
    _more_is_found(stage, deal)
    _refuse_the_old(stage, buyer, deal, seen)
    again = buyer.get(deal.offer)
    later = again["seen"] > seen["seen"]
    stage.require(later, "the offer now shows a later position", again["seen"])
    stage.saw(f"{deal.buyer} reads again, as of position {again['seen']}, and confirms that")
    _confirm(buyer, deal, again)
    _expect_state(stage, deal, "confirmed")
    _settle(stage, deal)
    _deny_the_return(stage, buyer, deal)
    return deal


def _offer(stage: Stage, deal: Deal) -> Letter:
    """Draft and offer; the letter that brings the buyer their link."""
    _make_offer(deal)
    stage.saw(f"{deal.room.keeper.name} offers {deal.room.checked.name} to {deal.buyer}")
    letter = stage.letters.wait(deal.email, "offer")
    stage.require(
        "verified female" in letter.text, "the letter says what is represented", letter.text
    )
    stage.saw(f"the offer arrives: “{letter.subject}”, with a link of the buyer's own")
    return letter


def _make_offer(deal: Deal) -> None:
    seller = deal.room.keeper
    draft = {
        "id": deal.id,
        "collection": deal.room.collection,
        "animals": [deal.room.checked.id],
        "buyer": {"name": deal.buyer, "email": deal.email},
    }
    seller.api.post("sales", draft)
    offer = {
        "id": fresh_id(),
        "recheck_days": 14,
        "remedy": "refund",
        "expires": rfc3339(now() + timedelta(days=7)),
    }
    seller.api.post(f"{deal.path}/offer", offer)


def _read(stage: Stage, buyer: Api, deal: Deal) -> Json:
    """What the link shows without an account."""
    shown = buyer.get(deal.offer)
    animal = stage.only(shown["animals"], "the offer shows its animal")
    label = animal["represented"]["label"]
    stage.require(label == "verified female", "the representation is verified female", animal)
    stage.require(bool(animal["evidence"] and shown["cautions"]), "evidence and cautions", shown)
    who = [call["who"] for call in animal["calls"]]
    stage.require(who == ["the seller", "independent keeper"], "who checked, by their part", who)
    written = json.dumps(shown)
    named = [deal.examiner] if deal.examiner in written else []
    stage.require(not named, "no examiner is named to a buyer", named)
    stage.saw(f"{deal.buyer} opens it without an account: {label}, as of position {shown['seen']}")
    for line in animal["evidence"]:
        print(f"        {' '.join(filter(None, (line.get('who'), line['text'])))}", flush=True)
    return shown


def _more_is_found(stage: Stage, deal: Deal) -> None:
    """Meanwhile the seller reports a veterinarian's ultrasound: the standing moves."""
    seller, snake = deal.room.keeper, deal.room.checked
    vet = {"id": fresh_id(), "name": "Dr Fennel Oakhurst-Rye, reptile veterinarian"}
    seller.api.post("practitioners", vet)
    call = snake.probed("female", "0", "0") | {
        "observed": {"method": "ultrasound", "seen": "follicles"},
        "reported": {"role": "veterinarian", "who": vet["id"]},
    }
    answer = seller.api.post(f"animals/{snake.id}/calls", fact(call))
    stage.saw(f"meanwhile a veterinarian's ultrasound enters the record at {answer['position']}")


def _refuse_the_old(stage: Stage, buyer: Api, deal: Deal, seen: Json) -> None:
    refusal = stage.refused(
        lambda: _confirm(buyer, deal, seen),
        409,
        "standing_moved",
        "what was seen before the record moved cannot be confirmed",
    )
    changed = refusal.problem.get("changed", [])
    animals = {one["animal"] for one in changed}
    stage.require(animals == {deal.room.checked.id}, "the refusal says what changed", changed)
    stage.saw(f"confirming position {seen['seen']} is refused: {refusal.problem['detail']}")


def _confirm(buyer: Api, deal: Deal, seen: Json) -> Json:
    """``seen``: the offer as it was read."""
    what = {"seen": seen["seen"], "shown": seen["shown"]}
    statement = "I have read the evidence and the cautions."
    return buyer.post(
        f"{deal.offer}/confirmation", {"id": fresh_id(), **what, "statement": statement}
    )


def _settle(stage: Stage, deal: Deal) -> None:
    _seller_step(deal, "payment")
    _expect_state(stage, deal, "paid")
    _seller_step(deal, "handover")
    _expect_state(stage, deal, "handed_over")
    stage.letters.wait(deal.room.keeper.email, "sale_confirmed")
    for kind in ("payment_recorded", "handed_over"):
        stage.letters.wait(deal.email, kind)
    stage.saw("each side has its letters of the other's steps")


def _deny_the_return(stage: Stage, buyer: Api, deal: Deal) -> None:
    """The seller alone says that it came back, and wants to sell it again."""
    seller, snake = deal.room.keeper, deal.room.checked
    home = {"to": deal.room.collection, "why": "returned", "sale": deal.id}
    move = seller.api.post(f"animals/{snake.id}/custody", fact(home))
    letter = stage.letters.wait(deal.email, "return_claimed")
    stage.saw(f"{seller.name} records that {snake.name} was returned: “{letter.subject}”")
    _refuse_another_buyer(stage, deal, "while its buyer can still deny that")
    told = stage.letters.wait(deal.email, "sold_elsewhere")
    stage.saw(f"and {deal.buyer} is told: “{told.subject}”")
    path = f"offers/{letter.token()}/returns"
    claim = stage.only(buyer.get(path)["items"], "the buyer's link shows the return")
    stage.require((claim["move"], claim["state"]) == (move["id"], "waiting"), "it waits", claim)
    buyer.post(path, {"id": fresh_id(), "move": claim["move"], "answer": "denied"})
    claim = stage.only(buyer.get(path)["items"], "the buyer's link shows the return")
    stage.require(claim["state"] == "denied", "the return is denied", claim)
    stage.saw(f"{deal.buyer} denies it by the link: {claim['words']}")
    answered = stage.letters.wait(seller.email, "return_answered")
    stage.saw(f"the seller reads “{answered.subject}”")
    _refuse_another_buyer(stage, deal, "once its buyer has denied that")


def _refuse_another_buyer(stage: Stage, deal: Deal, when: str) -> None:
    """The animal is the first buyer's, who is written to of the first attempt in a day."""
    seller, other = deal.room.keeper, replace(deal, id=fresh_id(), email=f"second-{deal.email}")
    refusal = stage.refused(
        lambda: _make_offer(other), 409, "not_now", f"no offer to somebody else {when}"
    )
    stage.saw(f"{seller.name} offers it to somebody else: {refusal.problem['detail']}")


def _seller_step(deal: Deal, step: str) -> Json:
    return deal.room.keeper.api.post(f"{deal.path}/{step}", {"id": fresh_id()})


def _expect_state(stage: Stage, deal: Deal, state: str) -> None:
    sale = deal.room.keeper.api.get(deal.path)
    stage.require((sale["state"], sale["held"]) == (state, []), f"the sale is {state}", sale)
    stage.saw(f"the sale is {state.replace('_', ' ')}")
