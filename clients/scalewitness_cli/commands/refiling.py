"""``scalewitness refile``: a check that was of another animal than it was filed on."""

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import checks, outbox, replica
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    opened,
    server_option,
    store_here,
)
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped


@click.command()
@click.argument("id")
@click.argument("animal")
@server_option
@json_option
@ends_well
def refile(id: str, animal: str, server: str | None, as_json: bool) -> None:
    """State that the check ID was of ANIMAL: the transponder that you read is that one's.

    Stored here, sent by the next sync. The check counts there; it stays on record where it was
    filed, marked so. A check by a tag is withdrawn instead, on its page.
    """
    with opened(server) as store:
        identity = need_identity(store)
        call = outbox.item_named(store, id).said
        shown = replica.find(store, animal, now_by(store))
        if not replica.is_read(shown, call.get("body", {}).get("identified", {})):
            raise Stopped("At that check no transponder of this animal was read.")
        now = rfc3339(moment_now())
        made = checks.fact("call_refiled", shown["id"], now, {"call": call["id"]})
        store_here(store, identity.key, made, now, as_json=as_json)
