"""``scalewitness edit``: what a keeper writes on the rack."""

from typing import Any

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import outbox, replica
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import fresh_id, moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store


@click.command()
@click.argument("animal")
@click.option("--name", help="An empty text clears.")
@click.option("--rack", help="Where it stands.")
@click.option("--description")
@click.option("--hold-off/--no-hold-off", default=None, help="Ask everyone to leave it alone.")
@server_option
@json_option
@ends_well
def edit(animal: str, server: str | None, as_json: bool, **given: Any) -> None:
    """Edit the name, place, description or hold-off notice of ANIMAL.

    Stored here, sent by the next sync. If somebody else set the same field meanwhile, nothing
    is overwritten: `scalewitness unsent` shows both values.
    """
    fields = {name: value for name, value in given.items() if value is not None}
    if not fields:
        raise click.UsageError("Say what to edit.")
    with opened(server) as store:
        id = store_edit(store, replica.find(store, animal, now_by(store)), fields)
        print_result({"stored": [id]}, as_json, lambda: f"Stored here: {id}.")


def store_edit(store: Store, shown: replica.Shown, fields: dict[str, Any]) -> str:
    """Keep an edit for the next sync; its id.

    Raises:
        Stopped: nobody is signed in, or not this animal's keeper or partner.
    """
    identity = need_identity(store)
    if not replica.is_steward(store, shown):
        raise Stopped("Only its keeper and partners edit an animal.")
    made = {
        "id": fresh_id(),
        "record": f"animals/{shown['id']}",
        "base_version": shown["version"],
        "fields": fields,
    }
    outbox.add_edit(store, identity.key, made, shown["id"], rfc3339(moment_now()))
    return str(made["id"])
