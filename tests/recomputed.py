"""What the command makes of standings, from what a keeper is sent: `whole` without its store."""

from dataclasses import dataclass, field
from typing import Any

from tests.api.client import Api

from scalewitness.domain.facts import BODIES
from scalewitness.domain.sexing.recomputing import OrderedFact
from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.stated_map import opening_in
from scalewitness_cli.recomputing import JOINING, Beside, Entries, beside_in, computed_again


@dataclass
class Sent:
    """What a keeper is sent of the animals that they see whole."""

    api: Api
    about: dict[str, list[Any]] = field(default_factory=dict)
    seen: dict[str, Any] = field(default_factory=dict)
    proofs: dict[str, Any] = field(default_factory=dict)
    beside: Beside = ()
    head: Checkpoint | None = None

    def __post_init__(self) -> None:
        for one in self._fed():
            self.about.setdefault(one["entry"]["about"], []).append(one)
        animals = self.api.get("/animals", limit=200).body["items"]
        self.seen = {one["id"]: one for one in animals if one["sight"] == "all"}
        if not self.seen:
            return
        asked = {"animals": ",".join(self.seen), "rested_on": "yes"}
        answer = self.api.get("/proofs", **asked).body
        self.head = read_body(read_note(answer["checkpoint"]).text)
        self.beside = self.placed(answer)
        self.proofs = {one["id"]: one for one in answer["animals"]}

    def _fed(self) -> list[Any]:
        found: list[Any] = []
        page: dict[str, Any] = {"more": True}
        while page["more"]:
            after = {"cursor": page["cursor"]} if "cursor" in page else {}
            page = self.api.get("/changes", limit=1000, **after).body
            for item in page["items"]:
                found += item.get("facts", [item] if item["type"] == "fact" else [])
        return sorted(found, key=lambda one: int(one["position"]))

    def placed(self, answer: Any) -> Beside:
        """What came beside the proofs of an answer, held to the tree."""
        return beside_in(answer, read_body(read_note(answer["checkpoint"]).text))

    @property
    def kinds_beside(self) -> set[str]:
        return {_kind(one) for one in self.beside}

    def entries(self, id: str, but: str = "") -> Entries:
        """``but``: what came beside, without those of that kind."""
        joined = [id for id, facts in self.about.items() if _is_joined(facts)]
        others = [one for other in joined if other != id for one in self.about[other]]
        beside = [one for one in self.beside if _kind(one) != but]
        proof = self.proofs[id]
        return Entries(self.about[id], others, beside, opening_in(proof), proof.get("unread"))

    def computed(self, id: str, but: str = "") -> str | None:
        """Raises NotShown: it is forged."""
        assert self.head is not None
        return computed_again(self.seen[id], self.entries(id, but), self.head.size)

    def all(self, but: str = "") -> dict[str, str | None]:
        """Of every animal; in words what is forged."""
        return {id: self._said(id, but) for id in self.seen}

    def _said(self, id: str, but: str) -> str | None:
        try:
            return self.computed(id, but)
        except ValueError as forged:
            return f"forged: {forged}"


def _kind(fact: OrderedFact) -> str:
    (found,) = (kind for kind, body in BODIES.items() if type(fact.body) is body)
    return found


def _is_joined(facts: list[Any]) -> bool:
    return any(one["entry"]["kind"] in JOINING for one in facts)
