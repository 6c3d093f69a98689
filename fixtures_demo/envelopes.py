"""From the scenario's data to facts as a client sends them."""

from collections.abc import Iterator, Mapping
from hashlib import sha256
from typing import Any

from fixtures_demo.fixed import Calendar, fixed_id
from fixtures_demo.scenario import (
    Animal,
    Batch,
    Call,
    Collection,
    Grant,
    Keeper,
    Objection,
    Scenario,
    Statement,
    Visit,
    Withdrawal,
)

Fact = dict[str, Any]


class Envelopes:
    """Builds facts; ``keepers`` gives each keeper's id on this server by key."""

    def __init__(self, scenario: Scenario, calendar: Calendar, keepers: Mapping[str, str]) -> None:
        self._scenario = scenario
        self._calendar = calendar
        self._keepers = keepers

    def animals(self, collection: Collection) -> list[Fact]:
        """Registrations, identifiers and notes of a whole collection."""
        return [
            fact
            for key, animal in self._scenario.animals.items()
            if self._scenario.home[key] == collection.key
            for fact in self._animal(animal, collection)
        ]

    def _animal(self, animal: Animal, collection: Collection) -> Iterator[Fact]:
        at, about = animal.recorded or collection.recorded, fixed_id("animal", animal.key)
        registered: dict[str, Any] = {
            "collection": fixed_id("collection", collection.key),
            "species": animal.species,
            "hatched": self._calendar.day(animal.hatched),
            "traits": list(animal.traits),
        }
        parents = {"sire": animal.sire, "dam": animal.dam}
        registered |= {role: fixed_id("animal", key) for role, key in parents.items() if key}
        yield self._fact("animal_registered", animal.key, at, about, registered)
        for scheme, code in (("tag", animal.tag), ("transponder", animal.transponder)):
            if code:
                key, body = f"{animal.key}/{scheme}", {"scheme": scheme, "code": code}
                yield self._fact("identifier_assigned", key, at, about, body)
        for index, note in enumerate(animal.notes):
            key, noted = f"{animal.key}/{index}", {"noted": note.noted}
            yield self._fact("husbandry_noted", key, note.at, about, noted, note.note)

    def grant(self, grant: Grant) -> Fact:
        body: dict[str, Any] = {"to": self._keepers[grant.to], "role": grant.role}
        if grant.animals is not None:
            body["animals"] = [fixed_id("animal", animal) for animal in grant.animals]
        about = fixed_id("collection", grant.collection)
        return self._fact("grant_given", grant.key, grant.at, about, body)

    def voucher(self, keeper: Keeper, by: str) -> Fact:
        about = self._keepers[keeper.key]
        return self._fact("keeper_vouched", f"{keeper.key}/{by}", keeper.vouched, about, {})

    def invitation(self, visit: Visit, opens: str, closes: str) -> Fact:
        """The window is given apart: it may have had to move."""
        body = {
            "collection": fixed_id("collection", visit.collection),
            "guest": self._keepers[visit.guest],
            "animals": [fixed_id("animal", animal) for animal in visit.animals],
            "opens": opens,
            "closes": closes,
            "blind": visit.blind,
        }
        about = fixed_id("visit", visit.key)
        return self._fact("visit_invited", visit.key, visit.invited, about, body)

    def visit_step(self, visit: Visit, kind: str, at: str) -> Fact:
        return self._fact(kind, visit.key, at, fixed_id("visit", visit.key), {})

    def calls(self, batch: Batch) -> list[Fact]:
        """A batch: the guest's weights, then the calls in order."""
        weights = [
            self._fact(
                "husbandry_noted",
                f"{batch.key}/{index}/{weight.animal}",
                weight.at,
                fixed_id("animal", weight.animal),
                {"noted": {"type": "weight", "grams": weight.grams}},
            )
            for index, weight in enumerate(batch.weights)
        ]
        return weights + [self._call(key, call, batch) for key, call in batch.keyed()]

    def _call(self, key: str, call: Call, batch: Batch) -> Fact:
        body: dict[str, Any] = {
            "conclusion": call.conclusion,
            "sureness": call.sureness or batch.sureness,
            "observed": call.observed,
            "identified": call.identified or self._identified(call, batch),
            "held_by": call.held_by or batch.held_by,
        }
        if call.harm:
            body["harm"] = list(call.harm)
        if call.told:
            body["told"] = call.told
        if batch.visit:
            body["visit"] = fixed_id("visit", batch.visit)
        if call.reported:
            who = fixed_id("practitioner", call.reported["who"])
            body["reported"] = call.reported | {"who": who}
        if call.document:
            body["document"] = call.document
        about = fixed_id("animal", call.animal)
        return self._fact("call_made", key, call.at, about, body, call.note)

    def _identified(self, call: Call, batch: Batch) -> dict[str, str]:
        read, animal = call.read or batch.read, self._scenario.animals[call.animal]
        codes = {"tag": animal.tag, "transponder": animal.transponder}
        code = codes.get(read)
        return {"by": read} | ({"code": code} if code else {})

    def withdrawal(self, one: Withdrawal) -> Fact:
        body = {"call": fixed_id("call_made", one.call)}
        return self._fact("call_withdrawn", one.call, one.at, self._on(one.call), body, one.note)

    def objection(self, one: Objection) -> Fact:
        body = {"call": fixed_id("call_made", one.call), "ground": one.ground}
        return self._fact("call_objected", one.call, one.at, self._on(one.call), body, one.note)

    def statement(self, one: Statement) -> Fact:
        call = {"call" if one.file is None else "of": fixed_id("call_made", one.call or "")}
        photos = {name: fixed_id("photo_attached", key) for name, key in one.photos.items()}
        file = {"sha256": sha256(one.file).hexdigest(), "size": len(one.file)} if one.file else {}
        animals = {role: fixed_id("animal", key) for role, key in one.animals.items()}
        body = {**one.say, **(call if one.call else {}), **photos, **file, **animals}
        about = fixed_id("animal", one.animal) if one.animal else fixed_id("about", one.key)
        return self._fact(one.kind, one.key, one.at, about, body, one.note)

    def _on(self, call: str) -> str:
        return fixed_id("animal", self._scenario.calls[call].animal)

    def _fact(
        self,
        kind: str,
        key: str,
        at: str,
        about: str,
        body: dict[str, Any],
        note: str | None = None,
    ) -> Fact:
        fact = {
            "id": fixed_id(kind, key),
            "kind": kind,
            "at": self._calendar.moment(at),
            "about": about,
            "body": body,
        }
        return fact | ({"texts": {"note": note}} if note else {})
