"""``scalewitness require-witnesses``: how many witnesses must have seen what the log shows."""

import click

from scalewitness.domain.translog.keys import KeyType, VerifierKey
from scalewitness_cli.commands.common import json_option, print_result
from scalewitness_cli.commands.trusted import kept_or_usage, read_keys
from scalewitness_cli.timeliness import Wanted, keep_wanted
from scalewitness_cli.trust import add_key, keys_file, wanted_file, witness_keys


@click.command("require-witnesses")
@click.argument("number", type=click.IntRange(0, 20))
@click.argument("keys", nargs=-1, callback=read_keys, metavar="[NAME+ID+BASE64]...")
@click.option("--within", "hours", type=click.IntRange(1, 24 * 365), default=24, show_default=True,
    help="Hours within which they must have looked.")  # fmt: skip
@json_option
def require_witnesses(
    number: int, keys: tuple[VerifierKey, ...], hours: int, as_json: bool
) -> None:
    """Ask that NUMBER of the witnesses you trust have seen what the log shows; 0 asks for none.

    Public keys given are added to those trusted. After each sync, and each look of `scalewitness
    witness`, it is said where fewer have looked in time.
    """
    if strange := [key for key in keys if key.type is KeyType.ED25519]:
        raise click.UsageError(f"{strange[0].name} is a log's key: scalewitness trust-log KEY.")
    known = dict.fromkeys([*witness_keys(kept_or_usage()), *keys])
    if number > len(known):
        raise click.UsageError(f"{len(known)} witnesses are trusted here: give the keys of more.")
    for key in keys:
        add_key(keys_file(), key)
    keep_wanted(wanted_file(), Wanted(number, hours * 3600))
    print_result(
        {"witnesses": number, "trusted": len(known), "within_hours": hours},
        as_json,
        lambda: (
            f"Asked for: {number} of {len(known)} witnesses, within {hours} hours."
            if number
            else "No witness is asked for."
        ),
    )
