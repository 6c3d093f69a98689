"""``scalewitness verify``: check receipts with no server, from the log's public key alone."""

import json
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.translog.checkpoints import read_body
from scalewitness.domain.translog.key_changes import GivenUp, spoken
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import Note
from scalewitness.domain.translog.receipts import (
    MAX_RECEIPT_BYTES,
    BadReceipt,
    Proven,
    Receipt,
    claimed_origin,
    prove,
    read_receipt,
)
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.commands.common import FINE, NEEDS_YOU, UNREACHABLE, USAGE
from scalewitness_cli.commands.trusted import kept_or_usage, read_keys
from scalewitness_cli.meeting import meet
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Stopped
from scalewitness_cli.revoked import known, revoked_among
from scalewitness_cli.saved import (
    MAX_BYTES,
    BadSaved,
    check,
    is_saved,
    note_of,
    origin_of,
    read_saved,
)
from scalewitness_cli.sealed import LateCall, call_in, read_file
from scalewitness_cli.trust import VARIABLE, keys_file, log_keys, witness_keys
from scalewitness_cli.witness import look

PROVES = (
    "the log that holds this key has these exact bytes at this position, and vouched for it "
    "with its signature. Changed, moved or removed, the entry would no longer fit what was "
    "signed then, nor anything signed since."
)
PROVES_NOT = (
    "that what was recorded is true, who the people behind the ids are, or that the time "
    "claimed is right. Later entries may withdraw or contradict this one: ask the record what "
    "it says today."
)
UNSEEN = (
    "no witness you trust has cosigned it, so it does not show that everyone is shown the same log."
)

COMPUTED_AGAIN = "the same"
IN_FULL = "Both signed states are kept: scalewitness alarms."


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.option(
    "--key",
    "given",
    multiple=True,
    metavar="NAME+ID+BASE64",
    callback=read_keys,
    help="A public key to trust: the log's or a witness's. Else those kept in the keys file.",
)
@click.option("--ask", metavar="URL", help="Hold the log at URL to what is in them, at once.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a file, for programs.")
@click.pass_context
def verify(
    ctx: click.Context,
    files: tuple[Path, ...],
    given: tuple[VerifierKey, ...],
    ask: str | None,
    as_json: bool,
) -> None:
    """Check receipts, and records with their proofs that a page saved, offline.

    The checkpoint in each is held to what this machine remembers of the log, now or at the next
    sync: two that cannot both be true raise an alarm, and prove the fault.

    Ends with 0 when every file holds, with 1 when one does not or an alarm is raised, with 2 when
    one cannot be judged for want of a key, with 3 when the log could not be asked.
    """
    trusted = [*given, *kept_or_usage()]
    worst = 0
    for file in files:
        status, found, note = _judged(file, trusted)
        if note is not None:
            status, found = _met(file, note, trusted, ask, found)
        worst = max(worst, status, key=(FINE, UNREACHABLE, USAGE, NEEDS_YOU).index)
        click.echo(json.dumps(found, ensure_ascii=False) if as_json else _in_words(found))
    ctx.exit(worst)


def _met(
    file: Path, note: Note, trusted: list[VerifierKey], ask: str | None, found: dict[str, Any]
) -> tuple[int, dict[str, Any]]:
    """What became of the checkpoint in a file that holds: one that others were shown."""
    origin, now = read_body(note.text).origin, int(time.time())
    memory, logs = Memory(state_folder(), origin), keys_of(origin, trusted)
    try:
        if ask is None:
            met = meet(memory, note, logs, str(file), now)
        else:
            seen = look(memory, PublicLog(ask), logs, now, [note])
            met = seen if isinstance(seen, Alarm) else f"The log at {ask} goes on from it."
    except Stopped as why:
        return (UNREACHABLE if ask else FINE), found | {"met": f"It was not compared: {why}"}
    if isinstance(met, Alarm):
        return 1, found | {"met": f"ALARM {met.id}: {met.why} {IN_FULL}", "alarm": met.id}
    return 0, found | {"met": met}


def _judged(file: Path, trusted: list[VerifierKey]) -> tuple[int, dict[str, Any], Note | None]:
    """The exit status for one file, what was found, and the checkpoint in it, if it holds."""
    with file.open("rb") as opened:
        data = opened.read(MAX_BYTES)
    late = read_file(data)
    if late is None and is_saved(data):
        return _judged_saved(file, data, trusted)
    try:
        receipt = read_receipt(late.receipt.encode() if late else data[: MAX_RECEIPT_BYTES + 1])
        origin = claimed_origin(receipt)
        logs = keys_of(origin, trusted)
        if not logs:
            return 2, {"file": str(file), "holds": None, "why": no_key(origin)}, None
        witnesses = tuple(dict.fromkeys(witness_keys(trusted)))
        proven = _proved_by_any(receipt, logs, witnesses)
        require_say(receipt.checkpoint, logs)
        found = _found(file, proven)
        found = found if late is None else found | _under_seal(late, receipt)
        return 0, found, receipt.checkpoint
    except BadReceipt as fault:
        return 1, {"file": str(file), "holds": False, "why": str(fault)}, None


def _under_seal(late: LateCall, receipt: Receipt) -> dict[str, Any]:
    """Of a late call, what it says.

    Raises:
        BadReceipt: it is not what was sealed.
    """
    sent = call_in(late, receipt)
    return {"sealed": {"what": in_words(sent.kind, sent.body), "by": sent.by, "at": sent.at,
                       "signed_on_device": sent.sig is not None, "body": sent.body}}  # fmt: skip


def _judged_saved(
    file: Path, data: bytes, trusted: list[VerifierKey]
) -> tuple[int, dict[str, Any], Note | None]:
    """Of a record with its proof."""
    try:
        saved = read_saved(data)
        origin = origin_of(saved)
        logs = keys_of(origin, trusted)
        if not logs:
            return 2, {"file": str(file), "holds": None, "why": no_key(origin)}, None
        found = check(saved, logs)
    except BadSaved as fault:
        return 1, {"file": str(file), "holds": False, "why": str(fault)}, None
    if found.amiss:
        return 1, {"file": str(file), "holds": False, "why": "\n  ".join(found.amiss)}, None
    shown = {
        "file": str(file),
        "holds": True,
        "log": found.head.origin,
        "position": found.head.size - 1,
        "hidden": found.hidden,
        "shown": len(saved.shown),
        "standings": {id: why or COMPUTED_AGAIN for id, why in found.computed.items()},
    }
    return 0, shown, note_of(saved)


def keys_of(origin: str, trusted: list[VerifierKey]) -> list[VerifierKey]:
    """Those trusted, and those that this machine followed the log to from them."""
    return Memory(state_folder(), origin).keys(log_keys(dict.fromkeys(trusted), origin))


def require_say(note: Note, logs: list[VerifierKey]) -> None:
    """See that the key that vouches for the note had not been given up by then, as far as is known
    here.

    Raises:
        BadReceipt: it had.
    """
    origin = read_body(note.text).origin
    try:
        spoken(note, logs, Memory(state_folder(), origin).key_changes(logs))
    except GivenUp as fault:
        raise BadReceipt(f"The checkpoint cannot be relied on: {fault}.") from None


def _proved_by_any(
    receipt: Any, logs: list[VerifierKey], witnesses: tuple[VerifierKey, ...]
) -> Proven:
    """By the first of the log's keys that signed it; else the last one's refusal."""
    for key in logs[:-1]:
        try:
            return prove(receipt, key, witnesses)
        except BadReceipt:
            continue
    return prove(receipt, logs[-1], witnesses)


def no_key(origin: str) -> str:
    return (
        f"It says it is from the log “{origin}”, whose public key is not known here. Get that "
        f"key from somebody you trust and give it with --key, or put it into {keys_file()} "
        f"(or the file that {VARIABLE} names)."
    )


def _found(file: Path, proven: Proven) -> dict[str, Any]:
    entry, head = proven.entry, proven.checkpoint
    revoked = revoked_among(
        proven.signatures.verified, known(Memory(state_folder(), head.origin)), head.size
    )
    return {
        "file": str(file),
        "holds": True,
        "what": in_words(entry.kind, entry.body),
        "kind": entry.kind,
        "id": entry.id,
        "by": entry.by,
        "about": entry.about,
        "at": entry.at,
        "received": entry.stamp.received if entry.stamp else None,
        "flags": list(entry.stamp.flags) if entry.stamp else None,
        "signed_on_device": entry.sig is not None,
        "log": head.origin,
        "position": proven.position,
        "size": head.size,
        "root": head.root.hex(),
        "cosigned": [
            {"name": one.name, "at": _moment(one.at)}
            for one in proven.signatures.verified
            if one.at is not None and one not in revoked
        ],
        "revoked": [{"name": one.name, "from": size} for one, size in revoked.items()],
        "body": entry.body,
    }


def _moment(seconds: int) -> str:
    try:
        return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%SZ}"
    except (OverflowError, ValueError, OSError):
        return f"{seconds} seconds after 1970"


def _in_words(found: dict[str, Any]) -> str:
    if found["holds"] is None:
        return f"{found['file']}: cannot be judged.\n  {found['why']}"
    if not found["holds"]:
        return f"{found['file']}: DOES NOT HOLD.\n  {found['why']}"
    if "hidden" in found:
        return f"{found['file']}: holds.\n  {_of_record(found)}\n  Besides: {_line(found['met'])}"
    lines = [*_lines(found), f"Besides: {_line(found['met'])}"]
    return "\n".join([f"{found['file']}: holds.", *(f"  {line}" for line in lines)])


def _lines(found: dict[str, Any]) -> list[str]:
    seen = [f"{one['name']} at {one['at']}" for one in found["cosigned"]]
    device = "; it carries a device's signature" if found["signed_on_device"] else ""
    return [
        f"What: {_line(found['what'])}",
        *_of_seal(found.get("sealed")),
        f"Stated by {found['by'] or 'the record itself'}, for the time {found['at']}{device}",
        *_stamped(found),
        f"About {found['about'] or 'nothing further'}; its own id is {found['id']}",
        f"Where: position {found['position']} of the log {found['log']}",
        f"Signed when the log had {found['size']} entries, root {found['root'][:16]}…",
        *(f"Seen by the witness {one}" for one in seen),
        *(
            f"Cosigned by the witness {one['name']}, which its keeper revoked from size "
            f"{one['from']} on: that is worth nothing"
            for one in found["revoked"]
        ),
        f"It shows: {PROVES}",
        f"It does not show: {PROVES_NOT}",
        *([] if seen else [f"Also: {UNSEEN}"]),
    ]


def _of_seal(sealed: dict[str, Any] | None) -> list[str]:
    if sealed is None:
        return []
    device = "; it carries a device's signature" if sealed["signed_on_device"] else ""
    return [
        f"Under seal: {_line(sealed['what'])}",
        f"Sent by {sealed['by']}, for the time {sealed['at']}{device}",
    ]


def _stamped(found: dict[str, Any]) -> list[str]:
    """What the record put on it; nothing for an entry of version 1."""
    if found["received"] is None:
        return []
    marked = f", marked {_line(', '.join(found['flags']))}" if found["flags"] else ""
    return [f"Received by the record at {found['received']}{marked}"]


def _of_record(found: dict[str, Any]) -> str:
    besides = f", with {found['hidden']} you have no access to" if found["hidden"] else ""
    standings = "".join(f"\n  {_of_standing(*one)}" for one in found["standings"].items())
    return (
        f"What the page showed is complete and unaltered as of position {found['position']} of the "
        f"log {found['log']}{besides}.{standings}\n  It does not show: {PROVES_NOT}"
    )


def _of_standing(animal: str, found: str) -> str:
    if found == COMPUTED_AGAIN:
        return f"The standing of {animal} was computed again here, with the same result."
    return f"The standing of {animal} was computed by the server, and not again here: {found}."


def _line(text: str) -> str:
    """What the log says, safe for a terminal."""
    return "".join(one if one.isprintable() else "�" for one in text)
