"""``scalewitness revoke-witness``: a machine that watched the log is lost."""

from collections.abc import Sequence

import click

from scalewitness_cli.commands.common import (
    api_of,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.own_word import state_now
from scalewitness_cli.identity import need_identity
from scalewitness_cli.remote import Json, Stopped


@click.command("revoke-witness")
@click.argument("name", required=False)
@click.option("--from", "size", type=click.IntRange(min=0), metavar="SIZE",
    help="What it says of trees of this size or larger is worth nothing. Else of those that "
    "come from now on.")  # fmt: skip
@server_option
@json_option
@ends_well
def revoke_witness(name: str | None, size: int | None, server: str | None, as_json: bool) -> None:
    """Revoke a witness key of yours, by the end of its NAME.

    For a machine that watched the log and is lost. What it cosigned of smaller trees goes on
    vouching for them; the log takes nothing more from it, and who trusts it is told. Without NAME
    it lists yours.
    """
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            found = api.get("log/cosignatures")["items"]
        if name is None:
            print_result(found, as_json, lambda: _in_words(found))
            return
        one = _named(found, name)
        body = {"key": one["key"]} | ({} if size is None else {"size": size})
        position = state_now(store, identity, "witness_revoked", body)
        print_result(
            {"witness": _name(one), "position": position}, as_json,
            lambda: f"{_name(one)} is revoked. It is in the log at {position}.",
        )  # fmt: skip


def _named(found: Sequence[Json], end: str) -> Json:
    named = [one for one in found if _name(one).endswith(end) and one["revoked_from"] is None]
    if len(named) != 1 or not end:
        raise Stopped(f"{len(named)} witness keys of yours in use end in “{end}”.")
    return named[0]


def _name(one: Json) -> str:
    return line(one["key"].partition("+")[0])


def _in_words(found: Sequence[Json]) -> str:
    return "\n".join(map(_row, found)) or "No machine of yours ever cosigned."


def _row(one: Json) -> str:
    seen = "nothing" if one["size"] is None else f"up to size {one['size']}, {line(one['at'])}"
    ended = one["revoked_from"]
    mark = "" if ended is None else f"; revoked from size {ended} on"
    return f"{_name(one)}  since {line(one['registered_at'])}  saw {seen}{mark}"
