"""``unsent``, ``drop``, ``choose``: what is not settled, and settling it."""

from typing import Any

import click

from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness_cli import outbox
from scalewitness_cli.clock import in_words, minute
from scalewitness_cli.commands.common import (
    FINE,
    NEEDS_YOU,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.showing import what_is
from scalewitness_cli.identity import fresh_id, moment_now, need_identity
from scalewitness_cli.outbox import Item, Lost
from scalewitness_cli.readings import as_corrected, verdict_on
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

WORDS = {
    "waiting": "waits to be sent",
    "held": "is held until the host decides",
    "conflict": "CONFLICTS: somebody else changed the same; choose --mine or --theirs",
    "refused": "was REFUSED; retry it or drop it",
    "clock": "WAITS FOR YOU to decide its time: retry it --corrected, --as-read or --at TIME",
    "dropped": "was dropped",
    "accepted": "is accepted",
}
NEEDING = frozenset({"conflict", "refused", "clock"})
"""States in which an item waits for whoever said it."""


@click.command()
@click.option("--all", "everything", is_flag=True, help="What is accepted and dropped, too.")
@server_option
@json_option
@click.pass_context
@ends_well
def unsent(ctx: click.Context, everything: bool, server: str | None, as_json: bool) -> None:
    """List what is not sent, held, in conflict or refused.

    Ends with 1 when something needs you.
    """
    with opened(server) as store:
        states = (*outbox.OPEN, "accepted", "dropped") if everything else outbox.OPEN
        listed = outbox.items(store, *states)
        faulty = [one for one in outbox.faults(store) if one not in listed]
        again = outbox.lost(store)
        found = [_shown(store, one, again.get(one.id)) for one in (*listed, *faulty)]
        print_result(
            found, as_json, lambda: "\n".join(map(_in_words, found)) or "Nothing is unsent."
        )
        needs = any(one["state"] in NEEDING or one["fault"] for one in found)
        ctx.exit(NEEDS_YOU if needs else FINE)


@click.command()
@click.argument("id")
@click.option("--yes", is_flag=True, help="Do not ask.")
@server_option
@json_option
@ends_well
def drop(id: str, yes: bool, server: str | None, as_json: bool) -> None:
    """Give up the item ID that was not accepted. It stays listed by `unsent --all`."""
    with opened(server) as store:
        item = outbox.item_named(store, id)
        if not yes:
            click.confirm(f"{what_is(item)} Give it up for good?", abort=True, err=True)
        outbox.drop(store, item, rfc3339(moment_now()))
        print_result({"dropped": item.id}, as_json, lambda: f"Dropped {item.id}.")


@click.command()
@click.argument("id")
@click.option("--mine", "mine", flag_value=True, type=bool, help="Write my values over theirs.")
@click.option("--theirs", "mine", flag_value=False, type=bool, help="Leave theirs.")
@server_option
@json_option
@ends_well
def choose(id: str, mine: bool | None, server: str | None, as_json: bool) -> None:
    """Settle the conflicting edit ID."""
    if mine is None:
        raise click.UsageError("Say --mine or --theirs.")
    with opened(server) as store:
        identity, now = need_identity(store), rfc3339(moment_now())
        item = outbox.item_named(store, id)
        if item.state != "conflict":
            raise Stopped(f"{item.id} {WORDS[item.state]}: there is no conflict to settle.")
        if mine:
            outbox.replace_edit(store, identity.key, item, _over(item), now)
        else:
            outbox.drop(store, item, now)
        message = "Yours is sent by the next sync." if mine else "Theirs stays."
        print_result(
            {"id": item.id, "chosen": "mine" if mine else "theirs"}, as_json, lambda: message
        )


def _over(item: Item) -> dict[str, Any]:
    """The edit again, on top of the version it conflicted with."""
    answer = item.answer or {}
    return item.sent | {"id": fresh_id(), "base_version": answer["version"]}


def _shown(store: Store, item: Item, lost: Lost | None) -> dict[str, Any]:
    return {
        "clock": _of_the_clock(store, item),
        "id": item.id,
        "state": item.state,
        "what": what_is(item),
        "about": item.about,
        "stored_at": item.stored_at,
        "position": item.position,
        "answer": item.answer,
        "fault": item.fault,
        "lost": None if lost is None else {"log": lost.origin, "position": lost.position},
    }


def _of_the_clock(store: Store, item: Item) -> str:
    """What there is to say of the time of an item that nobody took."""
    if item.state in {"accepted", "held", "dropped"}:
        return ""
    verdict = verdict_on(store, item)
    if verdict.state != "off":
        return in_words(verdict)
    at = minute(parse_moment(as_corrected(item.said, verdict)["at"]))
    return f"{in_words(verdict)} Corrected it would be {at}."


def _in_words(found: dict[str, Any]) -> str:
    where = f" at position {found['position']}" if found["position"] is not None else ""
    lines = [f"{found['id'][-12:]}  {line(found['what'])}", f"  {WORDS[found['state']]}{where}"]
    if lost := found["lost"]:
        lines.append(
            f"  offered again: {line(lost['log'])} lost it, from position {lost['position']}"
        )
    problem = (found["answer"] or {}).get("problem")
    if found["state"] == "refused" and problem:
        places = ", ".join(one.get("pointer", "") for one in problem.get("errors", []))
        lines.append(f"  {line(problem.get('detail', ''))} {line(places)}".rstrip())
    if found["clock"]:
        lines.append(f"  {line(found['clock'])}")
    if found["state"] == "conflict":
        lines += _both(found["answer"] or {})
    if found["fault"]:
        lines.append(f"  NOT in the log as it was sent: {line(found['fault'])}")
    return "\n".join(lines)


def _both(answer: dict[str, Any]) -> list[str]:
    return [
        f"  {line(name)}: mine {line(pair.get('yours'))!r}, theirs {line(pair.get('stands'))!r}"
        for name, pair in answer.get("conflicts", {}).items()
    ]
