"""``scalewitness photo``: a photo on record, as a file."""

import json
from pathlib import Path

import click

from scalewitness_cli.commands.common import ends_well, json_option, opened, server_option
from scalewitness_cli.identity import need_identity
from scalewitness_cli.outfiles import write_out
from scalewitness_cli.photos import file_of
from scalewitness_cli.remote import Api


@click.command()
@click.argument("id")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@server_option
@json_option
@ends_well
def photo(id: str, file: Path, server: str | None, as_json: bool) -> None:
    """Write the photo with the full ID to FILE: one taken here, or one you may see."""
    with opened(server) as store:
        identity = need_identity(store)
        data = file_of(store, id)
        if data is None:
            with Api(store.url, identity.token) as api:
                data = api.file(f"photos/{id}")
        write_out(file, data)
    if as_json:
        click.echo(json.dumps({"photo": id, "file": str(file), "bytes": len(data)}))
