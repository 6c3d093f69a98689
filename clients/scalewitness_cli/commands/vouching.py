"""``scalewitness vouch`` and ``vouchers``: answering for an examiner, or for who an account is."""

from collections.abc import Iterator, Sequence
from typing import get_args

import click

from scalewitness.domain.facts.people import Practice
from scalewitness.domain.vouching import AS, own_in_words
from scalewitness_cli.commands.common import (
    api_of,
    ending,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.own_word import state_now
from scalewitness_cli.identity import need_identity
from scalewitness_cli.remote import Json, Stopped

ends_without = ending("Whether it is on record is not known: scalewitness vouchers lists yours.")


@click.command()
@click.argument("email")
@click.option("--practice", type=click.Choice(get_args(Practice)),
    help="Not for an examiner, but that the account is such a practice's, as it says.")  # fmt: skip
@server_option
@json_option
@ends_without
def vouch(email: str, practice: Practice | None, server: str | None, as_json: bool) -> None:
    """State that you answer for the keeper with the address EMAIL, as an examiner.

    Two keepers who keep no animals together make that keeper's word verify a sex. Two who have
    nothing to do with each other make what a practice's account confirms count. Vouch only for
    somebody whose work you know: by a finding that they deceived you can vouch for nobody more.
    """
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            who = api.get("keepers", email=email)
        body = {"practice": practice} if practice else {}
        position = state_now(store, identity, "keeper_vouched", body, who["id"])
        made = {"keeper": who, "practice": practice, "position": position}
        print_result(made, as_json, lambda: f"You vouch for {_row(made)}.")


@click.command()
@click.option("--end", "ended", type=int, metavar="POSITION",
    help="Vouch no longer as you did at this position of the log.")  # fmt: skip
@server_option
@json_option
@ends_without
def vouchers(ended: int | None, server: str | None, as_json: bool) -> None:
    """List for whom you vouch, and whether your own word verifies a sex; or end one.

    What was confirmed while you vouched stays as it is; what comes later does without you.
    """
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            found = api.get("vouchers")
        if ended is None:
            print_result(found, as_json, lambda: "\n".join(_lines(found)))
            return
        one = _at(found["items"], ended)
        body = {"vouches": False} | ({"practice": one["practice"]} if one["practice"] else {})
        position = state_now(store, identity, "keeper_vouched", body, one["keeper"]["id"])
        made = one | {"position": position}
        print_result(made, as_json, lambda: f"You no longer vouch for {_row(made)}.")


def _at(items: Sequence[Json], position: int) -> Json:
    found = [one for one in items if one["position"] == position]
    if not found:
        raise Stopped(f"You vouch for nobody by position {position}: scalewitness vouchers.")
    return found[0]


def _lines(found: Json) -> Iterator[str]:
    yield own_in_words(found["footing"], deceived=found["deceived"])
    if not found["may_vouch"]:
        yield "You may not vouch for others."
    elif not found["items"]:
        yield "You may vouch for others, and vouch for nobody."
    if found["items"]:
        yield "You vouch for:"
        yield from (f"  {_row(one)}" for one in found["items"])


def _row(one: Json) -> str:
    return (
        f"{line(one['keeper']['name'])}, {AS[one['practice'] or '']} (position {one['position']})"
    )
