"""``scalewitness season``: what was seen of planned pairings, and what is expected when."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import click

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.season.events import COUNTED, EVENTS, EXPECTED, SEEN, Event
from scalewitness_cli import checks, replica
from scalewitness_cli.checks import BadWord
from scalewitness_cli.commands.breeding import named
from scalewitness_cli.commands.common import (
    api_of,
    ending,
    json_option,
    line,
    opened,
    print_result,
    server_option,
    store_here,
)
from scalewitness_cli.identity import Identity, moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

ends_without = ending("The server knows which pairings are planned: ask again where it answers.")
Shown = dict[str, Any]


@click.group()
def season() -> None:
    """What is seen of planned pairings, and what is expected when."""


@season.command("show")
@click.option("--due", is_flag=True, help="Only what is due within a week, or late.")
@server_option
@json_option
@ends_without
def show(due: bool, server: str | None, as_json: bool) -> None:
    """Show each pairing with what was noted of it, and between which days something is due."""
    with opened(server) as store:
        items, today = _calendar(store, need_identity(store)), moment_now().astimezone().date()
        if due:
            items = [kept for one in items if (kept := _due(one, today))["windows"]]
        print_result(items, as_json, lambda: "\n".join(_lines(items)) or "Nothing is due.")


@season.command("note")
@click.argument("animal")
@click.argument("what", type=click.Choice(EVENTS))
@click.option("--mate", help="The other one, where it is planned with several.")
@click.option("--on", metavar="DAY", help="2027-03-01; today when left out.")
@click.option("--good", type=int, help="Good eggs, of those laid.")
@click.option("--slugs", type=int, help="Slugs, of those laid or born.")
@click.option("--young", type=int, help="Young out of the egg.")
@click.option("--dead-in-shell", type=int, help="Dead in the shell.")
@click.option("--live", type=int, help="Live young, of those born.")
@click.option("--stillborn", type=int, help="Stillborn.")
@click.option("--celsius", help="Of the incubator.")
@server_option
@json_option
@ends_without
def note(
    animal: str,
    what: Event,
    mate: str | None,
    on: str | None,
    server: str | None,
    as_json: bool,
    **counted: Any,
) -> None:
    """Note WHAT you saw of the pairing that is planned with ANIMAL.

    Stored here, sent by the next sync.
    """
    given = {name: value for name, value in counted.items() if value is not None}
    for name in given.keys() - set(COUNTED.get(what, ())):
        raise BadWord(f"--{name.replace('_', '-')} is not counted of “{SEEN[what]}”.")
    body = {"what": what, "on": _day(on), **given}
    with opened(server) as store:
        identity = need_identity(store)
        words = [animal, *([mate] if mate else [])]
        ids = {replica.find(store, word, now_by(store))["id"] for word in words}
        pairing = _one_with(_calendar(store, identity), ids)
        _store(store, identity, "season_noted", pairing["pairing"]["id"], body, as_json)


@season.command("withdraw")
@click.argument("id")
@server_option
@json_option
@ends_without
def withdraw(id: str, server: str | None, as_json: bool) -> None:
    """State that what the note ID says was not so, or not on that day.

    Stored here, sent by the next sync.
    """
    with opened(server) as store:
        identity = need_identity(store)
        found = [
            (one, noted["id"])
            for one in _calendar(store, identity)
            for noted in one["notes"]
            if noted["id"].endswith(id)
        ]
        if len(found) != 1:
            raise Stopped("There is no such note that stands: scalewitness season show.")
        ((one, noted),) = found
        body = {"noted": noted}
        _store(store, identity, "season_note_withdrawn", one["pairing"]["id"], body, as_json)


def _calendar(store: Store, identity: Identity) -> list[Shown]:
    with api_of(store, identity) as api:
        return list(api.get("calendar")["items"])


def _one_with(items: list[Shown], ids: set[str]) -> Shown:
    found = [one for one in items if ids <= set(_halves(one))]
    if not found:
        raise Stopped("No pairing with it is planned for last year, this or the next.")
    if len(found) > 1:
        mates = ", ".join(_title(one) for one in found)
        raise Stopped(f"Several are planned: {mates}. Say with which: --mate.")
    return found[0]


def _halves(one: Shown) -> list[str]:
    halves = (one["pairing"][role] for role in ("dam", "sire"))
    return [half["animal"]["id"] for half in halves if half]


def _store(
    store: Store, identity: Identity, kind: str, about: str, body: Shown, as_json: bool
) -> None:
    made = checks.fact(kind, about, rfc3339(moment_now()), body)
    store_here(store, identity.key, made, made["at"], as_json=as_json)


def _day(text: str | None) -> str:
    if text is None:
        return moment_now().astimezone().date().isoformat()
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise BadWord("--on is a day such as 2027-03-01.") from None


def _due(one: Shown, today: date) -> Shown:
    until = (today + timedelta(days=7)).isoformat()
    return one | {"windows": [each for each in one["windows"] if each["first"] < until]}


def _lines(items: list[Shown]) -> Iterator[str]:
    for one in items:
        yield f"{_title(one)}, {one['pairing']['season']}"
        yield from (f"  ! {line(each)}" for each in one["oddities"])
        for noted in one["notes"]:
            counts = "".join(f", {name}: {value}" for name, value in noted["counted"].items())
            text = f"{noted['on']}  {SEEN[noted['what']]}{counts}, by {line(noted['by']['name'])}"
            yield f"  {noted['id'][-12:]}  {line(text)}"
        for each in one["windows"]:
            days = f"{each['first']} to {each['last']}"
            yield f"  {days}  expected: {EXPECTED[each['what']]}{_why(each)}"


def _why(window: Shown) -> str:
    """Where the days are from, the weakest told as any other."""
    steps = ", ".join(
        f"{one['low']} to {one['high']} days ({one['status']}"
        f"{', of the ' + one['about'] if one['about'] else ''})"
        for one in window["steps"]
    )
    return f", after {SEEN[window['after']]} on {window['on']}: {line(steps)}"


def _title(one: Shown) -> str:
    named = [_code(one["pairing"][role]) for role in ("dam", "sire")]
    return " with ".join(named)


def _code(half: Shown | None) -> str:
    return named(half["animal"]) if half else "an animal you may not see"
