"""``scalewitness accept``: a visit one was invited to."""

import click

from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness_cli import checks, outbox, replica
from scalewitness_cli.clock import minute
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store


@click.command()
@click.argument("visit", required=False)
@click.option("--decline", is_flag=True, help="Decline it instead.")
@server_option
@json_option
@ends_well
def accept(visit: str | None, decline: bool, server: str | None, as_json: bool) -> None:
    """Accept the VISIT you are invited to; its id or the end of it, where there are several.

    Stored here, sent by the next sync, which fetches its sheet. An invitation by letter is answered
    by `scalewitness invitations`.
    """
    with opened(server) as store:
        identity = need_identity(store)
        found = _invited(store, visit)
        kind = "visit_declined" if decline else "visit_accepted"
        made = checks.fact(kind, found["id"], rfc3339(now_by(store)), {})
        (stored,) = outbox.add(store, identity.key, [made], rfc3339(moment_now()))
        shown = {"stored": [stored.id], "visit": found["id"], "declined": decline}
        print_result(shown, as_json, lambda: "\n".join(_in_words(found, decline)))


def _invited(store: Store, wanted: str | None) -> replica.Shown:
    """Raises Stopped where it is not one."""
    answered = {one.about for one in outbox.items(store, "waiting", "clock") if _answers(one)}
    open_ones = [
        one
        for one in replica.visits(store)
        if one["state"] == "invited" and one["animals"] is None and one["id"] not in answered
    ]
    found = [one for one in open_ones if wanted is None or one["id"].endswith(wanted)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise Stopped("No such invitation is known here; scalewitness sync fetches what is new.")
    raise Stopped("\n".join(["Say which:", *(f"  {one['id']}  {_when(one)}" for one in found)]))


def _answers(item: outbox.Item) -> bool:
    return item.sent.get("kind") in {"visit_accepted", "visit_declined"}


def _when(one: replica.Shown) -> str:
    days = " to ".join(minute(parse_moment(one[name])) for name in ("opens", "closes"))
    snakes = "1 snake" if one["count"] == 1 else f"{one['count']} snakes"
    return f"{line(one['host']['name'])}'s, {snakes}, {days}"


def _in_words(one: replica.Shown, decline: bool) -> list[str]:
    if decline:
        return [f"Declined, stored here: {_when(one)}. The next sync sends it."]
    blind = "You check blind. " if one["blind"] else ""
    return [
        f"Accepted, stored here: {_when(one)}. {blind}scalewitness sync fetches the sheet.",
        *(f"  · {one}" for one in BEFORE_A_CHECK),
    ]
