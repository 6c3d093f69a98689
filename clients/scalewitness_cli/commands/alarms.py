"""``scalewitness alarms`` and ``acknowledge``: what was seen amiss, and setting it aside."""

import json
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import click
import msgspec

from scalewitness.domain.translog.keys import VerifierKey
from scalewitness_cli.alarms import Acknowledged, Alarm, proves_fault
from scalewitness_cli.commands import own_word
from scalewitness_cli.commands.common import FINE, NEEDS_YOU, json_option, print_result
from scalewitness_cli.commands.trusted import kept_or_usage, read_keys
from scalewitness_cli.commands.witness import alarm_in_words, alarm_shown
from scalewitness_cli.memory import Memory, all_memories, state_folder
from scalewitness_cli.trust import log_keys

MAX_BYTES = 4_000_000


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object an alarm, for programs.")
@click.pass_context
def alarms(ctx: click.Context, as_json: bool) -> None:
    """List the alarms that nobody has acknowledged; ends with 1 if there is one.

    Of what a log showed, and of facts in your own name that no device of yours is known to have
    signed.
    """
    found: list[dict[str, Any]] = [
        alarm_shown(memory, alarm, memory.keys(log_keys(kept_or_usage(), memory.origin)))
        for memory in all_memories(state_folder())
        for alarm in memory.alarms()
    ]
    found += [own_word.shown(url, one) for url, one in own_word.standing()]
    for one in found:
        click.echo(json.dumps(one, ensure_ascii=False) if as_json else _in_words(one))
    ctx.exit(NEEDS_YOU if found else FINE)


def _in_words(one: dict[str, Any]) -> str:
    return own_word.doubt_in_words(one) if one["outcome"] == "in_my_name" else alarm_in_words(one)


@click.command()
@click.argument("id")
@click.option("--because", required=True, help="What you found out; it is kept with the alarm.")
@click.option(
    "--start-over",
    is_flag=True,
    help="Also forget the kept checkpoint: what the log shows next is taken as the beginning.",
)
@json_option
def acknowledge(id: str, because: str, start_over: bool, as_json: bool) -> None:
    """Set the alarm ID aside, with its evidence.

    If the log still contradicts what is kept, the next look raises another alarm, unless
    you start over.
    """
    if own_word.set_aside(id, because):
        words = f"The matter of {id} is closed; what you found is kept with it."
        print_result({"acknowledged": id, "kept": None}, as_json, lambda: words)
        return
    memory, alarm = _named(id)
    with memory.alone():
        kept = memory.acknowledge(alarm, because, int(time.time()), start_over)
    found = {"acknowledged": alarm.id, "kept": str(kept)}
    print_result(found, as_json, lambda: f"Alarm {alarm.id} is set aside in {kept}.")


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--key", "given", multiple=True, metavar="NAME+ID+BASE64", callback=read_keys,
    help="The log's public key. Else those kept in the keys file.")  # fmt: skip
@json_option
@click.pass_context
def evidence(ctx: click.Context, file: Path, given: tuple[VerifierKey, ...], as_json: bool) -> None:
    """Judge an alarm's FILE that somebody else sent, with nothing but the log's key.

    Ends with 1 when it proves that the log vouched for two trees that cannot both be its
    own, or that a key was used which it had given up, with 0 when it does not, with 2 when it
    cannot be judged.
    """
    alarm = _read(file)
    keys = log_keys(dict.fromkeys([*given, *kept_or_usage()]), alarm.origin)
    if not keys:
        raise click.UsageError(f"No public key of “{alarm.origin}” is known here: give --key.")
    proves = proves_fault(alarm, Memory(state_folder(), alarm.origin).keys(keys))
    print_result(
        {"file": str(file), "log": alarm.origin, "proves": proves},
        as_json,
        lambda: (
            f"{file}: PROVES that what the keys of {alarm.origin} vouched for contradicts itself."
            if proves
            else f"{file}: does not prove a contradiction."
        ),
    )
    ctx.exit(NEEDS_YOU if proves else FINE)


def _read(file: Path) -> Alarm:
    """Also one that was set aside."""
    with file.open("rb") as opened:
        data = opened.read(MAX_BYTES)
    with suppress(msgspec.MsgspecError):
        return msgspec.json.decode(data, type=Alarm)
    with suppress(msgspec.MsgspecError):
        return msgspec.json.decode(data, type=Acknowledged).alarm
    raise click.UsageError(f"{file} is not the file of an alarm.")


def _named(id: str) -> tuple[Memory, Alarm]:
    for memory in all_memories(state_folder()):
        for alarm in memory.alarms():
            if alarm.id == id:
                return memory, alarm
    raise click.UsageError(f"No alarm {id} stands; `scalewitness alarms` lists them.")
