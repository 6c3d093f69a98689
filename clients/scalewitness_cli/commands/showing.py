"""``scalewitness show`` and ``sheet``: what is known here, with or without a signal."""

from datetime import datetime
from typing import Any

import click
import msgspec

from scalewitness.domain.cautions import BEFORE_A_CHECK, HOLD_OFF
from scalewitness.domain.fact_words import in_words
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.observations import Observation
from scalewitness.domain.sexing.words import found_in_words
from scalewitness_cli import checks, outbox, replica
from scalewitness_cli.clock import minute
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
    spaced,
)
from scalewitness_cli.filters import Filters
from scalewitness_cli.identity import need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.recomputing import SAME
from scalewitness_cli.store import Store
from scalewitness_cli.whole import proved

Shown = dict[str, Any]
STANDINGS = click.Choice(["verified", "probable", "contested", "unsexed"])


@click.command()
@click.argument("animal", required=False)
@click.option("--ended", is_flag=True, help="List those that died, are lost or were stolen.")
@click.option("--text", default="", help="List those whose name, code, trait or place holds this.")
@click.option("--species", default="", help="List those of a species whose name holds this.")
@click.option("--standing", type=STANDINGS, help="List those that stand so.")
@click.option("--sex", type=click.Choice(["female", "male"]), help="… of that sex.")
@click.option("--collection", default="", help="… of a collection, by its name or id.")
@server_option
@json_option
@ends_well
def show(
    animal: str | None, ended: bool, server: str | None, as_json: bool, **asked: str | None
) -> None:
    """Show ANIMAL as of the last sync, or list all that are there and as asked.

    Of an animal you are to check blind there is nothing of its sex to show: this machine has
    not been sent it.
    """
    with opened(server) as store:
        need_identity(store)
        now = now_by(store)
        if animal is None:
            known = replica.animals_at(store, now)
            filters = Filters(**{name: value or "" for name, value in asked.items()})
            there = [one for one in known if bool(one.get("ended")) == ended]
            everyone = [one for one in there if filters.find(one)]
            print_result(
                everyone, as_json, lambda: "\n".join(map(_row, everyone)) or "None known here."
            )
            return
        found = replica.find(store, animal, now)
        held = proved(store, found["id"])
        whole = found | {
            "facts": replica.facts_about(store, found["id"]),
            "unsent": _unsent(store, found["id"]),
            "cautions": _cautions(store, found, now),
            "proved_as_of": held and held.as_of,
            "standing_again": held and held.standing,
        }
        print_result(whole, as_json, lambda: _in_words(whole))


@click.command()
@click.argument("visit", required=False)
@server_option
@json_option
@ends_well
def sheet(visit: str | None, server: str | None, as_json: bool) -> None:
    """Show the sheets of the visits you are on, or that of VISIT: the animals to check.

    A visit accepted beforehand opens by itself at its time, with or without a signal; until
    then it is told when that is, and no animal.
    """
    with opened(server) as store:
        need_identity(store)
        now = now_by(store)
        found = [
            one
            | {"opened": opened, "rows": _rows(store, one, now) if opened else []}
            | {"left_alone": _left_alone(store, one) if opened else []}
            for one in replica.visits(store)
            if _is_listed(one, visit, now)
            for opened in [one["state"] == "open" or replica.opened_by_clock(one, now)]
        ]
        none = "No visit like that is known here." if visit else "No visit known here is open."
        print_result(found, as_json, lambda: "\n\n".join(map(_sheet, found)) or none)


def _is_listed(one: Shown, wanted: str | None, now: datetime) -> bool:
    """A visit as its guest that is open or to come, or the one that was asked for."""
    if one["animals"] is not None:
        return False
    if wanted is not None:
        return bool(one["id"].endswith(wanted))
    is_to_come = one["state"] == "accepted" and now <= parse_moment(one["closes"])
    return one["state"] == "open" or is_to_come


def _rows(store: Store, visit: Shown, now: datetime) -> list[Shown]:
    id = visit["id"]
    left = {one["id"] for one in visit.get("held_off") or ()}
    found = [
        row for row in _on_sheet(store, visit) if not _is_to_leave(row) and row["id"] not in left
    ]
    done = {one.about for one in outbox.items(store, "waiting", "clock") if _is_call(one, id)}
    return [
        row | {"cautions": _cautions(store, row, now), "stored_here": row["id"] in done}
        for row in found
    ]


def _on_sheet(store: Store, visit: Shown) -> list[Shown]:
    id = visit["id"]
    rows = replica.sheet(store, id) or replica.sheet_ahead(store, id)
    return [row for row in rows if not row.get("ended")]


def _is_to_leave(row: Shown) -> bool:
    """Whether it is to be left alone for now, and still to be checked blind."""
    return row.get("sight") == "blind" and bool(row.get("hold_off"))


def _left_alone(store: Store, visit: Shown) -> list[str]:
    """The codes of what is to be left alone: as the sheet had it, and as was told since."""
    since = [row for row in _on_sheet(store, visit) if _is_to_leave(row)]
    return sorted({replica.code_of(one) for one in [*(visit.get("held_off") or ()), *since]})


def _is_call(item: outbox.Item, visit: str) -> bool:
    return item.sent.get("kind") == "call_made" and item.sent["body"].get("visit") == visit


def _cautions(store: Store, shown: Shown, now: datetime) -> list[str]:
    steward = replica.is_steward(store, shown)
    return checks.cautions(shown, now, steward=steward)


def _unsent(store: Store, animal: str) -> list[Shown]:
    again = outbox.lost(store)
    return [
        {"id": one.id, "state": one.state, "what": what_is(one), "again": one.id in again}
        for one in outbox.items(store, *outbox.OPEN)
        if one.about == animal
    ]


def what_is(item: outbox.Item) -> str:
    """An item in words."""
    if item.what == "edit":
        fields = ", ".join(f"{name} → {value}" for name, value in item.sent["fields"].items())
        return f"An edit: {fields}."
    return in_words(item.sent["kind"], item.sent["body"])


def _row(shown: Shown) -> str:
    standing = shown.get("standing") or {}
    label = standing.get("label", "–") if shown.get("sight") == "all" else "(blind)"
    cells = (
        replica.code_of(shown) or shown["id"][-12:],
        shown.get("name") or "",
        shown["species"]["common"],
        label,
        _end(shown),
    )
    return "  ".join(line(one) for one in cells if one)


def _end(shown: Shown) -> str:
    """Why it is no longer there, as its keeper says, and since when."""
    ended = shown.get("ended")
    return f"({line(ended['why'])} {ended['at'][:10]})" if ended else ""


def _in_words(shown: Shown) -> str:
    head = [
        _row(shown),
        f"  id {shown['id']}",
        *(f"  {spaced(one['scheme'])} {line(one['code'])}" for one in shown["identifiers"]),
        *_condition(shown["condition"]),
    ]
    if shown["sight"] == "blind":
        head.append("  You are to check it blind: the calls of others are not on this machine.")
    standing = shown.get("standing")
    if standing:
        head.append(
            f"  Standing: {line(standing['label'])}; chance of male {standing['p_male']}"
            f" (trusting every call less: {standing['p_male_pessimistic']})"
        )
    head += [f"  {one['position']}: {_fact(one)}" for one in shown["facts"]]
    head.append(_proof(shown))
    head += [f"  {one['state']} here: {_mine(one)}" for one in shown["unsent"]]
    return "\n".join([*head, *(f"  ! {one}" for one in shown["cautions"])])


def _proof(shown: Shown) -> str:
    if shown["sight"] != "all":
        return "  Whether more was said cannot be shown before your own check."
    if shown["proved_as_of"] is None:
        return "  Not yet held to the log: scalewitness sync does that."
    return (
        f"  Complete and unaltered as of position {shown['proved_as_of']}, as held to the log here."
        f"{_again(shown)}"
    )


def _again(shown: Shown) -> str:
    if shown["standing_again"] is None:
        return ""
    if shown["standing_again"] == SAME:
        return "\n  The standing was computed again here, with the same result."
    return f"\n  The standing is as computed by the server: {line(shown['standing_again'])}."


def _mine(unsent: Shown) -> str:
    again = " (offered again: the log lost it)" if unsent["again"] else ""
    return f"{line(unsent['what'])}{again}"


def _condition(state: Shown) -> list[str]:
    lines = []
    if state.get("grams") is not None:
        lines.append(f"  {state['grams']} g on {str(state['weighed_at'])[:10]}")
    if state.get("fed_at"):
        lines.append(f"  fed {str(state['fed_at'])[:10]}")
    if state.get("shed"):
        lines.append(f"  shed: {line(state['shed'])}")
    return lines


def _fact(fact: Shown) -> str:
    entry = fact["entry"]
    note = "".join(f" “{line(text)}”" for text in fact["texts"].values())
    by = f" ({line(fact['by_name'])})" if fact["by_name"] else ""
    what = line(in_words(entry["kind"], entry["body"]))
    return f"{entry['at'][:10]} {what}{_seen(entry)}{by}{note}{_admitted(entry)}"


def _seen(entry: Shown) -> str:
    """Of a call, what was seen, how sure its examiner is, and how they knew the animal."""
    if entry["kind"] != "call_made":
        return ""
    body = entry["body"]
    try:
        found = found_in_words(msgspec.convert(body["observed"], Observation))
    except msgspec.ValidationError:
        return ""  # of a later version
    known = body["identified"]
    code = f" {line(known['code'])}" if known.get("code") else ""
    return f" {found}; {spaced(body['sureness'])}, known by {spaced(known['by'])}{code}."


def _admitted(entry: Shown) -> str:
    """What a standing states of the calls that are new to it, and that only whoever made one can
    tell to be wrong."""
    if entry["kind"] != "standing_changed":
        return ""
    admitted = entry["body"].get("admitted", ())
    return "".join(f" It took the call as {_taken(one)}." for one in admitted)


def _taken(known: Shown) -> str:
    blind = "blind" if known["blind"] else "not blind"
    interest = "with" if known["interested"] else "without"
    footing = ", on a word without a footing" if known.get("footing") == "none" else ""
    identity = line(IDENTITIES.get(known["identity"], known["identity"]))
    return f"{blind}, {interest} an interest, of an animal known by {identity}{footing}"


IDENTITIES = {
    "confirmed": "a code in it",
    "tub_tag": "the tag of its tub",
    "unconfirmed": "neither code nor tag",
    "mismatch": "a code that is not its own",
}


def _sheet(visit: Shown) -> str:
    blind = "blind" if visit["blind"] else "not blind"
    head = f"Visit {visit['id']} at {line(visit['host']['name'])}'s, {blind}, "
    if not visit["opened"]:
        return head + _not_open(visit)
    rows = [part for row in visit["rows"] for part in _sheet_row(row)]
    alone = ", ".join(map(line, visit["left_alone"]))
    return "\n".join(
        [
            f"{head}until {minute(parse_moment(visit['closes']))}",
            *(f"  · {one}" for one in BEFORE_A_CHECK),
            *([f"  ! {HOLD_OFF} {alone}"] if alone else ()),
            *(rows or ["  Its animals are not here yet: scalewitness sync fetches them."]),
        ]
    )


def _not_open(visit: Shown) -> str:
    """As of the last sync: whether it was called off since, nobody here knows."""
    if visit["state"] != "accepted":
        return f"{line(visit['state'])} at the last sync"
    ends = f"{minute(parse_moment(visit['opens']))} to {minute(parse_moment(visit['closes']))}"
    return f"open from {ends}, {visit['count']} to check; it opens here by itself"


def _sheet_row(row: Shown) -> list[str]:
    done = "checked" if row.get("own_call") else "stored here" if row["stored_here"] else "to do"
    code = replica.code_of(row) or row["id"][-12:]
    return [
        f"  [{done}] {line(code)}  {line(row['species']['common'])}",
        *(f"      ! {one}" for one in row["cautions"]),
    ]
