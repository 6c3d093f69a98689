"""``scalewitness send``: what another device had not sent when it was signed out."""

from pathlib import Path

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.syncing import in_words, shown, speaking_to, status, watched
from scalewitness_cli.handover import take
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.interrupts import heard_between_steps
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Api, RetryLimit


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@server_option
@json_option
@click.pass_context
@ends_well
def send(ctx: click.Context, file: Path, server: str | None, as_json: bool) -> None:
    """Send what a phone wrote to FILE when it was signed out.

    It must be the same keeper's and for the same server. All of it is stored on this machine
    first, signed by this device; the same file again doubles nothing. Ends as sync does.
    """
    with heard_between_steps() as interrupts, opened(server) as store:
        identity = need_identity(store)
        taken = take(store, identity, file.read_bytes(), rfc3339(moment_now()))
        summary = f"Stored here: {taken.items} items and {taken.photos} photos of the file"
        click.echo(f"{summary}, {taken.known} were here already.", err=True)
        if taken.hatch_days:
            left = f"Hatch days under way, left in the file: {taken.hatch_days}."
            click.echo(f"{left} A phone of yours can read it and go on with them.", err=True)
        trying = RetryLimit(seconds=20, asked=20, sleep=interrupts.sleep)
        with Api(store.url, identity.token, trying) as api, PublicLog(store.url) as log:
            done = watched(store, identity, speaking_to(identity, api, log), interrupts)
        found = shown(store, done)
        from_file = {"items": taken.items, "photos": taken.photos, "known": taken.known}
        print_result(found | {"from_file": from_file}, as_json, lambda: in_words(found))
        ctx.exit(status(found))
