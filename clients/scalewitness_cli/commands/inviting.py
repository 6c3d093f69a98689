"""``scalewitness invite`` and ``invitations``: to check animals, by somebody's address."""

from typing import Any

import click

from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness_cli import checks, replica
from scalewitness_cli.checks import BadWord
from scalewitness_cli.clock import minute
from scalewitness_cli.commands.checktime import edge_of
from scalewitness_cli.commands.common import (
    api_of,
    ending,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import Identity, fresh_id, moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

ends_without = ending(
    "Whether it was done there is not known: scalewitness invitations lists them."
)
NO_LETTER = (
    "No letter goes there: this address was invited several times lately. Tell them yourself; they "
    "find it with an account of that address."
)


@click.command()
@click.argument("email")
@click.argument("animals", nargs=-1, required=True)
@click.option("--first", metavar="WHEN", help="From the start of this day, or from this time on. "
    "Else from now.")  # fmt: skip
@click.option("--last", metavar="WHEN", required=True,
    help="Until the end of this day, or until this time.")  # fmt: skip
@click.option("--open", "is_open", is_flag=True, help="Not blind: they see the record.")
@server_option
@json_option
@ends_without
def invite(
    email: str, animals: tuple[str, ...], first: str | None, last: str, is_open: bool,
    server: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Invite EMAIL by letter to check ANIMALS of one collection.

    They need no account yet. The record says nothing of it, nor whether they have one, until
    they accept.
    """
    now = moment_now()
    opens, closes = edge_of(first, now) if first else now, edge_of(last, now, ends=True)
    with opened(server) as store:
        identity = need_identity(store)
        named = [replica.find(store, one, now_by(store)) for one in dict.fromkeys(animals)]
        wanted = {
            "id": fresh_id(),
            "email": email,
            "collection": _collection(store, named),
            "animals": [one["id"] for one in named],
            "opens": rfc3339(opens),
            "closes": rfc3339(closes),
            "blind": not is_open,
        }
        with api_of(store, identity) as api:
            made = api.post("invitations", wanted)
        print_result(made, as_json, lambda: _invited(made))


def _collection(store: Store, named: list[replica.Shown]) -> str:
    """The one they are all in. Raises Stopped."""
    if not all(replica.is_steward(store, one) for one in named):
        raise Stopped("Only its keeper and partners invite somebody to check an animal.")
    found = {str(one["collection"]["id"]) for one in named}
    if len(found) != 1:
        raise BadWord("These animals are of several collections: invite to each by itself.")
    return found.pop()


def _invited(made: Any) -> str:
    if made.get("letter") is None:
        return f"{made['id']}: this invitation was accepted, and is a visit."
    letter = "A letter goes there." if made["letter"] else NO_LETTER
    return f"{line(made['email'])} is invited: {made['id']}. {letter}"


@click.command()
@click.option("--accept", metavar="ID", help="Accept one: it becomes a visit.")
@click.option("--decline", metavar="ID", help="Decline one.")
@click.option("--withdraw", metavar="ID", help="Take back one that you wrote.")
@server_option
@json_option
@ends_without
def invitations(
    accept: str | None, decline: str | None, withdraw: str | None,
    server: str | None, as_json: bool,
) -> None:  # fmt: skip
    """List invitations by letter that you wrote or may answer, or answer one."""
    given = [one for one in (accept, decline, withdraw) if one]
    if len(given) > 1:
        raise click.UsageError("One of --accept, --decline and --withdraw at a time.")
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            if withdraw:
                api.delete(f"invitations/{withdraw}")
                print_result({"withdrawn": withdraw}, as_json, lambda: "Withdrawn.")
            elif given:
                answer = _accepting(identity, accept) if accept else {"accepted": False}
                done = api.post(f"invitations/{given[0]}/answer", answer)
                words = "Accepted: it is a visit now." if accept else "Declined; its host reads it."
                print_result(done, as_json, lambda: words)
            else:
                found = api.get("invitations")["items"]
                nothing = "There are none."
                print_result(found, as_json, lambda: "\n".join(map(_in_words, found)) or nothing)


def _accepting(identity: Identity, id: str) -> dict[str, Any]:
    """Signed, once the server knows this device's key."""
    fact = checks.fact("visit_accepted", id, rfc3339(moment_now()), {})
    made = identity.key.signed(fact) if identity.enrolled else fact
    return {"accepted": True, **{name: made[name] for name in ("id", "at", "sig") if name in made}}


def _in_words(one: Any) -> str:
    days = " until ".join(minute(parse_moment(one[name])) for name in ("opens", "closes"))
    count = f"{one['count']} snake{'' if one['count'] == 1 else 's'}"
    if one["email"] is None:
        return f"{one['id']}  {line(one['host']['name'])} invites you to check {count}, {days}"
    letter = "" if one["letter"] else "; no letter went there"
    return f"{one['id']}  you invited {line(one['email'])}, {count}, {days}: {one['state']}{letter}"
