"""Plays the scenario's steps, each by the keeper whose step it is."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from fixtures_demo.accounts import Device
from fixtures_demo.envelopes import Envelopes, Fact
from fixtures_demo.fixed import Calendar, fixed_id
from fixtures_demo.letters import Letters
from fixtures_demo.scenario import Animal, Scenario, Visit
from fixtures_demo.selling import Selling
from scalewitness.domain.moments import rfc3339
from scalewitness_cli.remote import Api, Stopped

LONGEST_VISIT = timedelta(days=92)
"""The record takes no longer visit."""
LEAST_OPEN = timedelta(days=1)
"""A visit invited to late, after an interrupted run, stays open this much longer."""


class Player:
    """One run of the program. ``devices`` and ``keepers`` (ids) are by the keepers' keys."""

    def __init__(
        self,
        scenario: Scenario,
        calendar: Calendar,
        devices: Mapping[str, Device],
        keepers: Mapping[str, str],
        letters: Letters,
        now: datetime,
    ) -> None:
        self._scenario = scenario
        self._calendar = calendar
        self._devices = devices
        self._apis = {key: device.api for key, device in devices.items()}
        self._now = now
        self._envelopes = Envelopes(scenario, calendar, keepers)
        self._selling = Selling(scenario, self._apis, letters, now)
        self._ways: dict[str, Callable[[str], str]] = {
            "register": self._register,
            "grants": self._grants,
            "visit": self._visit,
            "after": self._after,
            "calls": self._calls,
            "remarks": self._remarks,
            "sale": self._selling.take,
            "states": self._state,
        }

    def play(self) -> None:
        """Every step in order, a line each. Raises Stopped and Refusal."""
        self._name_practitioners()
        self._vouch()
        for step in self._scenario.steps:
            print(f"  {self._ways[step.do](step.what)}", flush=True)

    def _name_practitioners(self) -> None:
        for one in self._scenario.practitioners.values():
            named = {"id": fixed_id("practitioner", one.key), "name": one.name}
            self._apis[one.named_by].post("practitioners", named)

    def _vouch(self) -> None:
        for keeper in self._scenario.keepers.values():
            for by in keeper.vouched_by:
                self._push(by, [self._envelopes.voucher(keeper, by)])

    def _register(self, key: str) -> str:
        """A collection, its animals with identifiers and notes, and their records."""
        collection = self._scenario.collections[key]
        api, collection_id = self._apis[collection.keeper], fixed_id("collection", key)
        if api.known(f"collections/{collection_id}") is None:
            api.post("collections", {"id": collection_id, "name": collection.name})
        sent = self._push(collection.keeper, self._envelopes.animals(collection))
        self._write_records(api, collection_id)
        return f"{collection.name}: {sent}"

    def _write_records(self, api: Api, collection: str) -> None:
        """Names and the like, where nobody has edited the animal yet."""
        ours = {fixed_id("animal", key): animal for key, animal in self._scenario.animals.items()}
        for found in api.all_animals():
            animal = ours.get(found["id"])
            if animal and _is_new(found, collection):
                api.edit(f"animals/{found['id']}", 1, _record(animal))

    def _grants(self, key: str) -> str:
        facts = [
            self._envelopes.grant(grant)
            for grant in self._scenario.grants.values()
            if grant.collection == key
        ]
        return f"grants: {self._push(self._scenario.collections[key].keeper, facts)}"

    def _visit(self, key: str) -> str:
        """The host invites, the guest answers."""
        visit = self._scenario.visits[key]
        host = self._scenario.collections[visit.collection].keeper
        if self._apis[host].known(f"visits/{fixed_id('visit', key)}") is None:
            window = self._window(visit)
            self._push(host, [self._envelopes.invitation(visit, *window)])
        if visit.answer and visit.answered:
            kind = f"visit_{visit.answer}"
            answer = self._envelopes.visit_step(visit, kind, visit.answered)
            self._push(visit.guest, [answer])
        return f"visit {key}: {visit.answer or 'not answered yet'}"

    def _window(self, visit: Visit) -> tuple[str, str]:
        """When the visit opens and closes. Raises Stopped when it can only be over."""
        opens, closes = self._calendar.at(visit.opens), self._calendar.at(visit.closes)
        closes = max(closes, self._now + LEAST_OPEN)
        if closes > opens + LONGEST_VISIT:
            raise Stopped(
                f"This load began on {self._calendar.first_run} and was interrupted; it is too "
                "late to go on. Start afresh: ./deploy/demo --fresh"
            )
        return rfc3339(opens), rfc3339(closes)

    def _after(self, key: str) -> str:
        """The host ends a visit early."""
        visit = self._scenario.visits[key]
        if visit.ended:
            host = self._scenario.collections[visit.collection].keeper
            self._push(host, [self._envelopes.visit_step(visit, "visit_cancelled", visit.ended)])
        return f"visit {key}: ended by its host"

    def _calls(self, key: str) -> str:
        batch = self._scenario.batches[key]
        return f"calls {key}: {self._push(batch.by, self._envelopes.calls(batch))}"

    def _remarks(self, by: str) -> str:
        facts = [self._envelopes.withdrawal(o) for o in self._scenario.withdrawals if o.by == by]
        facts += [self._envelopes.objection(o) for o in self._scenario.objections if o.by == by]
        return f"withdrawals and objections of {by}: {self._push(by, facts)}"

    def _state(self, key: str) -> str:
        """What somebody states of a call or an animal, and the picture where it is one."""
        one = self._scenario.statements[key]
        fact = self._envelopes.statement(one)
        found = f"{key}: {self._push(one.by, [fact])}"
        if one.file is not None:
            self._apis[one.by].put(f"photos/{fact['id']}", one.file, "image/jpeg")
        return found

    def _push(self, by: str, facts: Sequence[Fact]) -> str:
        outcomes = self._apis[by].push([self._signed(by, fact) for fact in facts])
        new = sum(outcome["status"] == "accepted" for outcome in outcomes)
        return f"{len(outcomes)} facts, {new} new"

    def _signed(self, by: str, fact: Fact) -> Fact:
        """A call as the sender's device signs it, if it has a key."""
        key = self._devices[by].key
        return key.signed(fact) if key and fact["kind"] == "call_made" else fact


def _is_new(found: dict[str, Any], collection: str) -> bool:
    """Whether the animal is in this collection and nobody has edited it yet."""
    return found["sight"] == "all" and (found["collection"]["id"], found["version"]) == (
        collection,
        1,
    )


def _record(animal: Animal) -> dict[str, Any]:
    return {
        "name": animal.name,
        "rack": animal.rack,
        "description": animal.description,
        "hold_off": animal.hold_off,
    }
