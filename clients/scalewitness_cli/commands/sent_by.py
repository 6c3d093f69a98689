"""``scalewitness sent-by``: what a device of one's own put on record."""

import click

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness_cli.clock import minute
from scalewitness_cli.commands.checktime import edge_of
from scalewitness_cli.commands.common import (
    api_of,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.own_word import device_named
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.remote import Json

AT_ONCE = "200"


@click.command("sent-by")
@click.argument("device")
@click.option("--since", metavar="WHEN", help="What the record took from this day or time on.")
@server_option
@json_option
@ends_well
def sent_by(device: str, since: str | None, server: str | None, as_json: bool) -> None:
    """List what a DEVICE of yours put on record in your name, also a revoked one.

    For one that was lost: whatever is not yours you withdraw on the page that is named with it, and
    say why. By when the record took it; a time that a device claims may be false.
    """
    with opened(server) as store, api_of(store, need_identity(store)) as api:
        one = device_named(api.get("devices")["items"], device)
        start = {} if since is None else {"since": rfc3339(edge_of(since, moment_now()))}
        found = list(api.each(f"devices/{one['id']}/facts", limit=AT_ONCE, **start))
        for fact in found:
            fact["page"] = _page(api.url, fact)
        print_result(found, as_json, lambda: "\n".join(map(_row, found)) or "Nothing.")


def _page(url: str, fact: Json) -> str:
    return f"{url}/{'calls' if fact['kind'] == 'call_made' else 'receipts'}/{fact['id']}"


def _row(fact: Json) -> str:
    signed = "" if fact["signed"] else "  (not signed)"
    words = line(in_words(fact["kind"], fact["body"]))
    return (
        f"{fact['position']:>8}  {minute(parse_moment(fact['received']))}  {words}{signed}\n"
        f"          {fact['page']}"
    )
