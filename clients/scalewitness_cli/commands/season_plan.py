"""``scalewitness season plan``: a season as it was worked out, and a change of it taken up."""

from collections.abc import Iterable, Iterator
from time import monotonic, sleep
from typing import Any

import click

from scalewitness.domain.methods import METHODS
from scalewitness.domain.moments import rfc3339
from scalewitness_cli import checks, replica
from scalewitness_cli.commands.breeding import named
from scalewitness_cli.commands.common import (
    api_of,
    ending,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import Identity, fresh_id, moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Api, Stopped
from scalewitness_cli.store import Store

ends_without = ending("It is worked out by the server: ask again where it can be reached.")
Shown = dict[str, Any]
SENT = ("id", "kind", "at", "about", "body", "sig")
LONGEST = 120.0
"""Seconds that the best plan is awaited; asking again goes on waiting."""


@click.command("plan")
@click.option("--year", type=int, help="In which the young are expected; the next when left out.")
@click.option("--collection", help="Its name, where you hold or share several.")
@click.option("--best", is_flag=True, help="Have the best plan worked out, and wait for it.")
@click.option("--accept", type=click.Choice(("repair", "best")), help="Change the plan so.")
@server_option
@json_option
@ends_without
def plan(
    year: int | None,
    collection: str | None,
    best: bool,
    accept: str | None,
    server: str | None,
    as_json: bool,
) -> None:
    """Show what a season should bring, what it hangs on, and the change that mends most of it.

    Worked out by the server from what you may see. A change is stated at once, all of it or none.
    """
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            path = _path(api, collection, year or moment_now().year + 1)
            if best:
                api.post(f"{path}/best", {})
            found = _worked_out(api, path, best=best)
            if accept:
                _accept(api, path, found, accept, identity)
                found = api.get(path)
        names = _names(store, found)
        print_result(found, as_json, lambda: "\n".join(_lines(found, names)))


def _path(api: Api, name: str | None, year: int) -> str:
    items = api.get("collections")["items"]
    found = [one for one in items if name is None or name in {one["name"], one["id"]}]
    if len(found) != 1:
        names = ", ".join(line(one["name"]) for one in items) or "none"
        raise Stopped(f"Say which collection with --collection: {names}.")
    return f"collections/{found[0]['id']}/seasons/{year}"


def _worked_out(api: Api, path: str, *, best: bool) -> Shown:
    """The season; where the best plan was asked for, once it is there."""
    deadline = monotonic() + LONGEST
    found: Shown = api.get(path)
    while best and (found["asked"] or not (found["outlook"] and found["outlook"]["best"])):
        if monotonic() > deadline:
            raise Stopped("It is still being worked out: ask again later, without --best.")
        sleep(1)
        found = api.get(path)
    return found


def _accept(api: Api, path: str, found: Shown, which: str, identity: Identity) -> None:
    change = found["outlook"] and found["outlook"][which]
    if not change or not (change["dropped"] or change["added"]):
        raise Stopped("There is no such change to take up.")
    planned = {
        (one["sire"]["animal"]["id"], one["dam"]["animal"]["id"]): one["id"]
        for one in found["pairings"]
        if one["sire"] and one["dam"]
    }
    at = rfc3339(moment_now())
    facts = [
        checks.fact("pairing_dropped", planned[one["sire"], one["dam"]], at, {})
        for one in change["dropped"]
    ]
    facts += [
        checks.fact("pairing_planned", fresh_id(), at, {**one, "season": found["year"]})
        for one in change["added"]
    ]
    signed = [identity.key.signed(one) for one in facts]
    items = [{name: one[name] for name in SENT if name in one} for one in signed]
    sent = {"read": list(planned.values()), "items": items}
    for outcome in api.post(f"{path}/change", sent)["items"]:
        if outcome["status"] == "refused":
            raise Stopped(f"The plan was not changed: {outcome['problem']['detail']}")


def _names(store: Store, found: Shown) -> dict[str, str]:
    """Of the animals that this device knows, and of those planned."""
    halves = (one[role] for one in found["pairings"] for role in ("sire", "dam"))
    planned = [half["animal"] for half in halves if half]
    everyone = [*planned, *replica.animals_at(store, now_by(store))]
    return {one["id"]: named(one) for one in everyone}


def _lines(found: Shown, names: dict[str, str]) -> Iterator[str]:
    yield f"Season {found['year']}: {len(found['pairings'])} pairings planned"
    outlook = found["outlook"]
    if found["behind"]:
        yield "  ! It is being worked out again: newer facts came."
    if outlook is None:
        return
    worth = outlook["worth"]
    yield (
        f"  It should bring {worth['expected']:.1f} (± {worth['error']:.1f}) wanted young, each "
        f"times its worth; in the worst tenth of seasons {worth['worst']:.1f}; where every call "
        f"is trusted less {worth['strict']:.1f}"
    )
    yield f"  Worked out from what you may see up to log position {outlook['position']}"
    if outlook["broken"]:
        animals = ", ".join(_called(one, names) for one in outlook["broken"]["animals"])
        yield f"  ! The plan does not hold: what the record says of {animals} changed."
    for which, words in (("repair", "A change"), ("best", "The best plan")):
        yield from _change(outlook[which], words, which, names)
    for one in outlook["falls"][:3]:
        brings = f"{one['left']:.1f}, repaired {one['after']:.1f}"
        yield f"  If {_called(one['animal'], names)} is of the other sex: {brings}"
    for one in outlook["checks"][:3]:
        how = f"{METHODS[one['method']].noun}, {one['minutes']:.0f} minutes"
        worth_it = "" if one["net"] > 0 else "; not worth what it takes"
        gains = f"gains {one['gains']:.2f} by {how}{worth_it}"
        yield f"  To check first: {_called(one['animal'], names)}, {gains}"


def _change(change: Shown | None, words: str, which: str, names: dict[str, str]) -> Iterator[str]:
    if change and (change["dropped"] or change["added"]):
        yield f"  {words} (--accept {which}) should bring {change['expected']:.1f}:"
        yield from _pairs(change["dropped"], "give up", names)
        yield from _pairs(change["added"], "make", names)


def _pairs(pairs: Iterable[Shown], does: str, names: dict[str, str]) -> Iterator[str]:
    for one in pairs:
        yield f"    {does} {_called(one['dam'], names)} with {_called(one['sire'], names)}"


def _called(animal: str, names: dict[str, str]) -> str:
    return names.get(animal, animal[-12:])
