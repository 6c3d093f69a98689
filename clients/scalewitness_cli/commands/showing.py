"""``scalewitness show`` and ``sheet``: what is known here, with or without a signal."""

from typing import Any

import click

from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.fact_words import in_words
from scalewitness_cli import checks, outbox, replica
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    server_option,
    spaced,
    tell,
)
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.store import Store

Shown = dict[str, Any]


@click.command()
@click.argument("animal", required=False)
@server_option
@json_option
@ends_well
def show(animal: str | None, server: str | None, as_json: bool) -> None:
    """Show ANIMAL as of the last sync, or list all.

    Of an animal you are to check blind there is nothing of its sex to show: this machine has
    not been sent it.
    """
    with opened(server) as store:
        need_identity(store)
        if animal is None:
            everyone = replica.animals(store)
            tell(everyone, as_json, lambda: "\n".join(map(_row, everyone)) or "None known here.")
            return
        found = replica.find(store, animal)
        whole = found | {
            "facts": replica.facts_about(store, found["id"]),
            "unsent": _unsent(store, found["id"]),
            "cautions": _cautions(store, found),
        }
        tell(whole, as_json, lambda: _told(whole))


@click.command()
@click.argument("visit", required=False)
@server_option
@json_option
@ends_well
def sheet(visit: str | None, server: str | None, as_json: bool) -> None:
    """Show the sheets of the visits you are on, or that of VISIT: the animals to check."""
    with opened(server) as store:
        need_identity(store)
        found = [
            one | {"rows": rows}
            for one in replica.visits(store)
            if (rows := _rows(store, one["id"])) and (visit is None or one["id"].endswith(visit))
        ]
        tell(found, as_json, lambda: "\n\n".join(map(_sheet, found)) or "No visit is open.")


def _rows(store: Store, visit: str) -> list[Shown]:
    done = {one.about for one in outbox.items(store, "waiting") if _is_call(one, visit)}
    return [
        row | {"cautions": _cautions(store, row), "stored_here": row["id"] in done}
        for row in replica.sheet(store, visit)
    ]


def _is_call(item: outbox.Item, visit: str) -> bool:
    return item.sent.get("kind") == "call_made" and item.sent["body"].get("visit") == visit


def _cautions(store: Store, shown: Shown) -> list[str]:
    steward = replica.is_steward(store, shown)
    return checks.cautions(shown, moment_now(), steward=steward)


def _unsent(store: Store, animal: str) -> list[Shown]:
    return [
        {"id": one.id, "state": one.state, "what": what_is(one)}
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
    )
    return "  ".join(line(one) for one in cells if one)


def _told(shown: Shown) -> str:
    head = [
        _row(shown),
        f"  id {shown['id']}",
        *(f"  {spaced(one['scheme'])} {line(one['code'])}" for one in shown["identifiers"]),
        *_condition(shown["condition"]),
    ]
    if shown["sight"] == "blind":
        head.append("  You are to check it blind: what others found is not on this machine.")
    standing = shown.get("standing")
    if standing:
        head.append(
            f"  Standing: {line(standing['label'])}; chance of male {standing['p_male']}"
            f" (trusting every check less: {standing['p_male_pessimistic']})"
        )
    head += [f"  {one['position']}: {_fact(one)}" for one in shown["facts"]]
    head += [f"  {one['state']} here: {line(one['what'])}" for one in shown["unsent"]]
    return "\n".join([*head, *(f"  ! {one}" for one in shown["cautions"])])


def _condition(state: Shown) -> list[str]:
    told = []
    if state.get("grams") is not None:
        told.append(f"  {state['grams']} g on {str(state['weighed_at'])[:10]}")
    if state.get("fed_at"):
        told.append(f"  fed {str(state['fed_at'])[:10]}")
    if state.get("shed"):
        told.append(f"  shed: {line(state['shed'])}")
    return told


def _fact(fact: Shown) -> str:
    entry = fact["entry"]
    note = "".join(f" “{line(text)}”" for text in fact["texts"].values())
    by = f" ({line(fact['by_name'])})" if fact["by_name"] else ""
    return f"{entry['at'][:10]} {line(in_words(entry['kind'], entry['body']))}{by}{note}"


def _sheet(visit: Shown) -> str:
    blind = "blind" if visit["blind"] else "not blind"
    rows = [part for row in visit["rows"] for part in _sheet_row(row)]
    return "\n".join(
        [
            f"Visit {visit['id']} at {line(visit['host']['name'])}'s, {blind}, until "
            f"{visit['closes'][:16].replace('T', ' ')}",
            *(f"  · {one}" for one in BEFORE_A_CHECK),
            *rows,
        ]
    )


def _sheet_row(row: Shown) -> list[str]:
    done = "checked" if row.get("own_call") else "stored here" if row["stored_here"] else "to do"
    code = replica.code_of(row) or row["id"][-12:]
    return [
        f"  [{done}] {line(code)}  {line(row['species']['common'])}",
        *(f"      ! {one}" for one in row["cautions"]),
    ]
