"""``scalewitness receipt``: the proof kept of what was said here, as a file."""

from pathlib import Path

import click

from scalewitness_cli import outbox
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import need_identity
from scalewitness_cli.outfiles import write_out
from scalewitness_cli.remote import Stopped
from scalewitness_cli.sealed import file_of


@click.command()
@click.argument("id")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@server_option
@json_option
@ends_well
def receipt(id: str, file: Path | None, server: str | None, as_json: bool) -> None:
    """Write the receipt of the item ID to FILE or the output; see `scalewitness verify`.

    Of a late call that waits, or was not admitted, it shows that the record has it and what it
    says: whoever has that file can read the call.
    """
    with opened(server) as store:
        item = outbox.item_named(store, id)
        made = item.receipt or file_of(store, item, need_identity(store))
        if made is None:
            raise Stopped(f"No receipt of {item.id} is here: {item.fault or 'none was made yet'}.")
    if file is not None:
        write_out(file, made)
    if as_json:
        shown = {"id": item.id, "position": item.position}
        shown |= {"file": str(file)} if file else {"receipt": made}
        print_result(shown, as_json, lambda: "")
    elif file is None:
        click.echo(made, nl=False)
