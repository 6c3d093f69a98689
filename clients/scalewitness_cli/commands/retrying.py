"""``scalewitness retry``: sending again what was refused, at a better time where need be."""

from collections.abc import Iterable

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import outbox
from scalewitness_cli.clock import in_words
from scalewitness_cli.commands.checktime import typed_moment
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.unsent import WORDS
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.outbox import Item
from scalewitness_cli.readings import as_corrected, decide, reading_of, together, verdict_on
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store


@click.command()
@click.argument("ids", nargs=-1)
@click.option("--corrected", "how", flag_value="corrected",
    help="At the time put right by what the server's clock showed.")  # fmt: skip
@click.option("--as-read", "how", flag_value="as-read",
    help="At the time that this computer's clock said.")  # fmt: skip
@click.option("--at", "typed", metavar="TIME", help="At this time; for one of IDS.")
@click.option("--visit", help="As made on this visit; for one of IDS.")
@click.option("--unusual", is_flag=True, help="It did go that deep; for one of IDS.")
@server_option
@json_option
@ends_well
def retry(
    ids: tuple[str, ...], how: str | None, typed: str | None, visit: str | None,
    unusual: bool, server: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Have items sent again by the next sync: those of IDS, or all that were refused.

    With --corrected or --as-read also those that wait for your word because this computer's
    clock was off when they were noted. Each is signed anew, under the same id.
    """
    if (typed or visit or unusual) and (len(ids) != 1 or how):
        raise click.UsageError("--at, --visit and --unusual go with one id, and nothing else.")
    with opened(server) as store:
        key = need_identity(store).key
        chosen = _chosen(store, ids, timely=bool(how or typed or visit))
        forms = [(one, _form(store, one, how, typed, visit, unusual)) for one in chosen]
        for one, form in forms:
            outbox.restate(store, one, key, form)
        if how or typed:
            decide(store, (one.id for one in chosen))
        message = f"{len(chosen)} to be sent by the next sync."
        print_result({"waiting": [one.id for one in chosen]}, as_json, lambda: message)


def _chosen(store: Store, ids: Iterable[str], *, timely: bool) -> list[Item]:
    """Those named, with what was noted with them; else all that wait for such a word.
    ``timely``: it is one about their times or visits.

    Raises:
        Stopped: there is nothing to retry in one of them.
    """
    named = [outbox.item_named(store, id) for id in ids]
    if not timely:
        for one in named:
            if one.state != "refused":
                raise Stopped(f"{one.id} {WORDS[one.state]}: there is nothing to retry.")
        return named or outbox.items(store, "refused")
    for one in named:
        if not _is_open(one):
            raise Stopped(f"{one.id} {WORDS[one.state]}: its time stays as it is.")
    if named:
        found = {one.id: one for each in named for one in together(store, each) if _is_open(one)}
        return list(found.values())
    waiting = outbox.items(store, "waiting", "clock", "refused")
    return [one for one in waiting if _is_open(one) and reading_of(store, one.id) is not None]


def _is_open(item: Item) -> bool:
    """Whether it can surely not be in the log: sent without an answer, it may be."""
    if item.what != "fact":
        return False
    return item.state in {"clock", "refused"} or (item.state == "waiting" and not item.attempted)


def _form(
    store: Store, item: Item, how: str | None, typed: str | None, visit: str | None, unusual: bool
) -> Fact:
    """The fact as it is to be sent.

    Raises:
        Stopped: by how much the clock was off is not known.
    """
    form = item.said
    if visit and item.sent["kind"] == "call_made":
        form = form | {"body": form["body"] | {"visit": visit}}
    if unusual and item.sent["kind"] == "call_made":
        observed = form["body"]["observed"] | {"unusual": True}
        form = form | {"body": form["body"] | {"observed": observed}}
    if typed:
        body = {name: one for name, one in form["body"].items() if name != "corrected"}
        at = rfc3339(typed_moment(typed, moment_now()))
        return form | {"at": at, "body": body}
    if how != "corrected":
        return form
    verdict = verdict_on(store, item)
    if verdict.state == "unknown":
        raise Stopped(f"{item.id}: {in_words(verdict)} Say --at TIME, or --as-read.")
    return form if verdict.state == "right" else as_corrected(form, verdict)
