"""``scalewitness witness``: look at the log, see that it only grew, vouch for having seen it."""

import json
import os
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import BadNote, Note, read_note
from scalewitness_cli.alarms import Alarm, proves_fault
from scalewitness_cli.commands.common import FINE, NEEDS_YOU, UNREACHABLE
from scalewitness_cli.commands.trusted import kept_or_usage, read_keys
from scalewitness_cli.key_following import in_words as change_in_words
from scalewitness_cli.locking import write_whole
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Api, Refusal, Stopped
from scalewitness_cli.timeliness import wanted_in, watch
from scalewitness_cli.trust import VARIABLE as KEYS_VARIABLE
from scalewitness_cli.trust import keys_file, log_keys, log_names, wanted_file, witness_keys
from scalewitness_cli.witness import Cosignature, Seen, cosigned_anew, to_send

TOKEN = "SCALEWITNESS_TOKEN"  # noqa: S105  a variable's name


def _notes(ctx: click.Context, param: click.Parameter, files: tuple[Path, ...]) -> list[Note]:
    try:
        return [read_note(file.read_bytes()) for file in files]
    except BadNote as fault:
        raise click.BadParameter(f"{fault}", ctx, param) from None


@click.command()
@click.argument("url")
@click.option("--key", "given", multiple=True, metavar="NAME+ID+BASE64", callback=read_keys,
    help="The log's public key. Else those kept in the keys file.")  # fmt: skip
@click.option("--log", "name", help="Which log to expect, where keys of several are kept.")
@click.option("--token-file", type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help=f"A device's token, to send the cosignature with. Else ${TOKEN}.")  # fmt: skip
@click.option("--also", multiple=True, callback=_notes, metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A checkpoint that somebody else was shown, which must fit too.")  # fmt: skip
@click.option("--write", "file", type=click.Path(dir_okay=False, path_type=Path),
    help="Send nothing; write the checkpoint, cosigned anew, to a file: for an operator who "
    "has restored the log and must show that it is whole.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object, for programs.")
@click.pass_context
def witness(
    ctx: click.Context, url: str, given: tuple[VerifierKey, ...], name: str | None,
    token_file: Path | None, also: list[Note], file: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Look at the log at URL once; made for a timetable.

    It must prove that it only grew since the last look. Then its checkpoint is cosigned with
    this machine's own witness key and, given a token, sent.

    Ends with 0 when all is well, with 1 on an alarm (again on every run until it is
    acknowledged with `scalewitness acknowledge`), with 3 when the log could not be looked at
    or the cosignature not be sent.
    """
    keys = [*given, *kept_or_usage()]
    origin = name or _only_log(keys)
    memory = Memory(state_folder(), origin)
    trusted = log_keys(dict.fromkeys(keys), origin)
    if not trusted:
        raise click.UsageError(_no_key(origin))
    status, found = _run(memory, url, trusted, also, file or _token(token_file))
    click.echo(json.dumps(found, ensure_ascii=False) if as_json else _in_words(found))
    ctx.exit(status)


def _run(
    memory: Memory, url: str, keys: list[VerifierKey], also: list[Note], to: Path | str | None
) -> tuple[int, dict[str, Any]]:
    """``to``: where the cosignature goes, a file, or the log by this device's token."""
    try:
        with PublicLog(url) as log:
            watched = watch(
                memory,
                log,
                keys,
                int(time.time()),
                also,
                wanted=wanted_in(wanted_file()),
                witnesses=list(dict.fromkeys(witness_keys(kept_or_usage()))),
            )
        seen = watched.seen
        if isinstance(seen, Alarm):
            return NEEDS_YOU, alarm_shown(memory, seen, memory.keys(keys))
    except Stopped as why:
        return UNREACHABLE, {"outcome": "unreachable", "log": memory.origin, "why": str(why)}
    if isinstance(to, Path):
        write_whole(to, str(cosigned_anew(memory, int(time.time()))))
        return FINE, _seen(seen, watched.remarks) | {"sent": None, "not_sent": f"it is in {to}"}
    sent, lacking = _send(memory, url, to)
    return (UNREACHABLE if sent is False else FINE), _seen(seen, watched.remarks) | {
        "sent": sent,
        "not_sent": lacking,
    }


def _send(memory: Memory, url: str, token: str | None) -> tuple[bool | None, str | None]:
    """Whether the log has the cosignature; None where nobody asked for that."""
    if token is None:
        return None, f"no device token: give --token-file or ${TOKEN}"
    try:
        made = to_send(memory, int(time.time()))
        if made is None:
            return True, None
        with Api(url, token) as api:
            api.post("log/cosignatures", sent_by(made))
    except (Stopped, Refusal) as problem:
        return False, str(problem)
    memory.note_sent(made.note)
    return True, None


def sent_by(made: Cosignature) -> dict[str, Any]:
    """The body of a request to `log/cosignatures`."""
    return {
        "key": str(made.key),
        "size": made.head.size,
        "root": encode64(made.head.root),
        "cosignature": str(made.line).removesuffix("\n"),
    }


def _only_log(keys: list[VerifierKey]) -> str:
    names = log_names(keys)
    if not names:
        raise click.UsageError(_no_key(None))
    if len(names) > 1:
        raise click.UsageError(f"Keys of several logs are kept: say --log. {', '.join(names)}")
    return names[0]


def _no_key(origin: str | None) -> str:
    which = f"of “{origin}”" if origin else "of any log"
    return (
        f"No public key {which} is known here, and one that the log itself hands out would "
        "prove nothing. Get it from somebody you trust and give it with --key, or put it into "
        f"{keys_file()} (or the file that {KEYS_VARIABLE} names)."
    )


def _token(file: Path | None) -> str | None:
    if file is not None:
        return file.read_text(encoding="utf-8").strip()
    return os.environ.get(TOKEN) or None


def _seen(seen: Seen, remarks: list[str]) -> dict[str, Any]:
    return {
        "outcome": "first" if seen.before is None else "grown",
        "log": seen.head.origin,
        "size": seen.head.size,
        "root": seen.head.root.hex(),
        "before": None if seen.before is None else seen.before.size,
        "remarks": remarks,
        "key_changes": [change_in_words(one) for one in seen.changes],
    }


def alarm_shown(memory: Memory, alarm: Alarm, keys: list[VerifierKey]) -> dict[str, Any]:
    """An alarm for people and programs; ``proves`` as :func:`proves_fault`."""
    return {
        "outcome": "alarm",
        "log": memory.origin,
        "alarm": alarm.id,
        "kind": alarm.kind,
        "at": f"{datetime.fromtimestamp(alarm.at, UTC):%Y-%m-%dT%H:%M:%SZ}",
        "address": alarm.address,
        "why": alarm.why,
        "proves": proves_fault(alarm, keys),
        "evidence": str(memory.file_of(alarm)),
    }


def alarm_in_words(found: dict[str, Any]) -> str:
    proof = (
        "The signed notes in it prove the fault to anyone who has the log's key. Show them "
        "to others."
        if found["proves"]
        else "It shows what was seen; by itself it does not prove a fault to others."
    )
    go_on = (
        [
            "  To go on with the other log: scalewitness follow-log, or, to watch it, scalewitness "
            "witness with its --log and --key. What was seen of this one stays."
        ]
        if found["kind"] == "succeeded"
        else []
    )
    return "\n".join(
        [
            f"ALARM {found['alarm']} of {found['at']}, log {_line(found['log'])}:",
            f"  {_line(found['why'])}",
            f"  Evidence: {found['evidence']}. {proof}",
            "  Nothing is accepted or cosigned until somebody has looked into it and says so:",
            f"  scalewitness acknowledge {found['alarm']} --because TEXT",
            *go_on,
        ]
    )


def _in_words(found: dict[str, Any]) -> str:
    if found["outcome"] == "alarm":
        return alarm_in_words(found)
    if found["outcome"] == "unreachable":
        return f"Could not look: {_line(found['why'])}"
    first = (
        "For the first time, so nothing is shown of what was before."
        if found["before"] is None
        else f"It continues what it vouched for at {found['before']} entries."
    )
    tale = [f"{found['log']}: {found['size']} entries, root {found['root'][:16]}…", f"  {first}"]
    tale += [f"  {_line(one)}" for one in (*found["key_changes"], *found["remarks"])]
    if found["sent"]:
        return "\n".join([*tale, "  The log has this machine's cosignature."])
    return "\n".join([*tale, f"  Not cosigned there: {_line(found['not_sent'])}"])


def _line(text: str) -> str:
    """What a server says, safe for a terminal."""
    return "".join(one if one.isprintable() else "�" for one in text)
