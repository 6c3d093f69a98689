"""``scalewitness quote``: another server's record of an animal, beside one's own."""

from hashlib import sha256
from pathlib import Path
from typing import Any

import click
import msgspec

from scalewitness.domain.translog.bundle import (
    MEDIA_TYPE,
    MOST_BYTES,
    BadBundle,
    origin_of,
    read_bundle,
)
from scalewitness.domain.translog.keys import BadKey, read_verifier
from scalewitness_cli import replica
from scalewitness_cli.bundles import Judged, judge
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
from scalewitness_cli.commands.trusted import kept_or_usage
from scalewitness_cli.commands.verify import keys_of
from scalewitness_cli.identity import fresh_id, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped

UNKNOWN = (
    "No key of that log is trusted here: it was checked by the key that the file names itself."
)


@click.command()
@click.argument("animal")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@server_option
@json_option
@ends_well
def quote(animal: str, file: Path, server: str | None, as_json: bool) -> None:
    """Quote another server's record of ANIMAL, which you keep, from a FILE that
    `scalewitness bundle` wrote there. It is checked here first, and again by the server. It is
    shown as that log's and counts in no standing. Free texts in it are not sent.
    """
    with opened(server) as store:
        identity = need_identity(store)
        found = replica.find(store, animal, now_by(store))
        data, judged, known = _read(file)
        scheme, code = _shared(found, judged)
        head = judged.checked.head
        body = {
            "bundle": sha256(data).hexdigest(),
            "origin": head.origin,
            "size": head.size,
            "animal": judged.checked.animal,
            "scheme": scheme,
            "code": code,
        }
        id = fresh_id()
        position = state_now(store, identity, "record_quoted", body, found["id"], id)
        with api_of(store, identity) as api:
            api.put(f"quoted/{id}/file", data, MEDIA_TYPE)
        made = {"quote": id, "position": position, "known": known, **body}
        print_result(made, as_json, lambda: _in_words(made))


def _read(file: Path) -> tuple[bytes, Judged, bool]:
    """The file without its texts, what it holds, and whether a key trusted here vouches for it.

    Raises:
        Stopped: it does not hold.
    """
    with file.open("rb") as opened_file:
        read = opened_file.read(MOST_BYTES + 1)
    try:
        bundle = msgspec.structs.replace(read_bundle(read), openings=())
        trusted = keys_of(origin_of(bundle), kept_or_usage())
        return (
            bundle.written(),
            judge(bundle, trusted or [read_verifier(bundle.key)]),
            bool(trusted),
        )
    except (BadBundle, BadKey) as fault:
        raise Stopped(f"{line(file)} does not hold. {fault}") from None


def _shared(found: replica.Shown, judged: Judged) -> tuple[str, str]:
    """A transponder's number that both records have, else a tag.

    Raises:
        Stopped: they have none in common.
    """
    here = {(one["scheme"], one["code"]) for one in found["identifiers"]}
    there = {(scheme, code) for scheme, code in judged.sheet["codes"]}
    for scheme in ("transponder", "tag"):
        for one in sorted(here & there):
            if one[0] == scheme:
                return one
    raise Stopped(
        "It is not shown to be of the same animal: the two records have no transponder and no tag "
        "in common."
    )


def _in_words(made: dict[str, Any]) -> str:
    return (
        f"Quoted from the log {line(made['origin'])} as of its position {made['size'] - 1}, in the "
        f"log at {made['position']}.{'' if made['known'] else f' {UNKNOWN}'}"
    )
