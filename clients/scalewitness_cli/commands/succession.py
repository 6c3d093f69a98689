"""``scalewitness follow-log``: go on with the log that a closed one became."""

import time

import click

from scalewitness.domain.translog.keys import VerifierKey
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.showing import what_is
from scalewitness_cli.commands.trusted import kept_or_usage, read_key
from scalewitness_cli.following import follow, found_successor, lost_items
from scalewitness_cli.identity import Identity, need_identity
from scalewitness_cli.locking import locked
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.outbox import Item
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store
from scalewitness_cli.succession import Succeeded, in_words
from scalewitness_cli.trust import keys_file, log_keys


@click.command("follow-log")
@click.option("--log-key", callback=read_key, metavar="NAME+ID+BASE64",
    help="The new log's key, from somebody you trust. Else it is asked for.")  # fmt: skip
@server_option
@json_option
@ends_well
def follow_log(log_key: VerifierKey | None, server: str | None, as_json: bool) -> None:
    """Go on with the log that the one trusted here has become.

    A log that lost entries is closed, and another goes on from what is left. Shown are what it
    says is missing, what of it is yours, and its key, to be compared with what somebody you
    trust tells you. With your yes the server is held to the new log, and what was lost of yours
    is sent again by the next sync.
    """
    with opened(server) as store, PublicLog(store.url) as log:
        identity = need_identity(store)
        with locked(store.folder / "sync.lock"):
            lost = ask_to_follow(store, identity, log, log_key)
        if lost is None:
            raise Stopped("Not followed: the alarm stands, and nothing new is taken in.")
        print_result(
            {"log": need_identity(store).origin, "again": [one.id for one in lost]},
            as_json,
            lambda: sent_again_in_words(lost),
        )


def ask_to_follow(
    store: Store, identity: Identity, log: PublicLog, given: VerifierKey | None
) -> list[Item] | None:
    """What is offered again, having followed; None where the keeper does not say yes.

    Raises:
        Stopped: there is no log to follow, or it has another key than was ``given``.
    """
    keys = log_keys(kept_or_usage(), identity.origin) if identity.origin else []
    if not identity.origin or not keys:
        raise Stopped("No log is trusted here that another could go on from.")
    memory = Memory(state_folder(), identity.origin)
    found = found_successor(store, memory, log, memory.keys(keys))
    if not _is_meant(found, given, lost_items(store, identity, log, found)):
        return None
    return follow(store, identity, memory, log, found, keys_file(), int(time.time()))


def _is_meant(found: Succeeded, given: VerifierKey | None, lost: list[Item]) -> bool:
    if given is not None and given != found.key:
        raise Stopped(f"The new log is signed with another key:\n{found.key}\nIt is not followed.")
    if given is not None:
        return True
    click.echo("\n".join(map(line, [in_words(found), *_yours(lost)])), err=True)
    click.echo(
        f"Its checkpoints are signed with\n  {line(found.key)}\nCompare it with the key that "
        "somebody you trust gives you: whoever runs the server could show any key.",
        err=True,
    )
    return click.confirm("Is it the same, and do you follow it?", default=False, err=True)


def sent_again_in_words(lost: list[Item]) -> str:
    """What following came to."""
    if not lost:
        return "Followed. Nothing recorded here is lost."
    return "\n".join(["Followed. To be sent again by the next sync:", *_listed(lost)])


def _yours(lost: list[Item]) -> list[str]:
    return ["Of yours it lost:", *_listed(lost)] if lost else []


def _listed(lost: list[Item]) -> list[str]:
    return [f"  {one.position}: {line(what_is(one))}" for one in lost]
