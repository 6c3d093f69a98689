"""``scalewitness servers``: the records this machine knows, and forgetting one."""

from typing import Any

import click

from scalewitness_cli import outbox
from scalewitness_cli.commands.common import ends_well, json_option, line, print_result
from scalewitness_cli.commands.showing import what_is
from scalewitness_cli.identity import identity_of
from scalewitness_cli.locking import locked
from scalewitness_cli.photos import unsent_files
from scalewitness_cli.remote import Api, Refusal, RetryLimit, Stopped, Unreachable
from scalewitness_cli.signin import sign_out
from scalewitness_cli.store import Store, data_folder
from scalewitness_cli.store import servers as known_servers

MOST_NAMED = 20
"""Items named one by one where a server is to be forgotten (our judgement)."""


@click.command()
@click.option("--forget", metavar="URL", help="Forget one, with all that is kept of it here.")
@click.option("--yes", is_flag=True, help="Even if something is lost; do not ask.")
@json_option
@ends_well
def servers(forget: str | None, yes: bool, as_json: bool) -> None:
    """List the servers known here, or forget one.

    What is forgotten is gone from this machine: the sign-in, what was shown, what was noted and
    not sent, and the receipts. What the record accepted stays there.
    """
    if forget is not None:
        _forget(forget.rstrip("/"), yes, as_json)
        return
    found = []
    for url in known_servers(data_folder()):
        with Store(data_folder(), url) as store:
            found.append(_shown(store))
    print_result(
        found, as_json, lambda: "\n".join(map(_in_words, found)) or "No server is known here."
    )


def _forget(url: str, yes: bool, as_json: bool) -> None:
    if url not in known_servers(data_folder()):
        raise Stopped(f"{url} is not known here; scalewitness servers lists those that are.")
    with Store(data_folder(), url) as store, locked(store.folder / "sync.lock"):
        lost = _lost(store)
        if lost and not yes:
            click.echo("\n".join([f"Of {line(url)} would be lost:", *lost]), err=True)
            click.confirm("Lose that for good?", default=False, abort=True, err=True)
        known_there = _sign_out(store)
        store.discard()
    message = f"{line(url)} is forgotten here."
    if known_there:
        message += " The server still lists this device: revoke it on your account's page."
    print_result({"forgotten": url, "device_revoked": not known_there}, as_json, lambda: message)


def _sign_out(store: Store) -> bool:
    """End the session at the server, if it can be reached; whether it may know the device yet."""
    identity = identity_of(store)
    if identity is None or not identity.token:
        return False
    try:
        with Api(store.url, identity.token, RetryLimit(seconds=3, asked=3)) as api:
            sign_out(store, identity, api)
    except (Unreachable, Refusal):
        return True
    return False


def _lost(store: Store) -> list[str]:
    """In words, what is nowhere but here."""
    unsent = outbox.items(store, *outbox.OPEN)
    lines = [f"  {line(what_is(one))} ({one.state})" for one in unsent[:MOST_NAMED]]
    if len(unsent) > MOST_NAMED:
        lines.append(f"  and {len(unsent) - MOST_NAMED} more that were not sent")
    if photos := unsent_files(store):
        lines.append(f"  {photos} photos that were not sent")
    if receipts := _receipts(store):
        lines.append(f"  {receipts} receipts of what the record accepted")
    return lines


def _receipts(store: Store) -> int:
    return int(store.rows("SELECT count(receipt) AS number FROM outbox")[0]["number"])


def _shown(store: Store) -> dict[str, Any]:
    identity = identity_of(store)
    counts = outbox.counts(store)
    return {
        "server": store.url,
        "name": identity.name if identity else None,
        "signed_in": bool(identity and identity.token),
        "unsettled": sum(counts.get(state, 0) for state in outbox.OPEN),
        "receipts": _receipts(store),
    }


def _in_words(found: dict[str, Any]) -> str:
    if found["name"] is None:
        who = "nobody has signed in"
    else:
        who = f"{line(found['name'])}, signed {'in' if found['signed_in'] else 'out'}"
    return f"{line(found['server'])}  {who}; {found['unsettled']} not settled"
