"""``scalewitness bundle`` and ``check-bundle``: an animal's record as one file."""

import json
import time
from pathlib import Path
from typing import Any

import click

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.translog.bundle import (
    MOST_BYTES,
    BadBundle,
    Bundle,
    origin_of,
    read_bundle,
)
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.receipts import BadReceipt
from scalewitness_cli import replica
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.bundles import Judged, judge
from scalewitness_cli.commands.common import (
    FINE,
    NEEDS_YOU,
    USAGE,
    api_of,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
    spaced,
)
from scalewitness_cli.commands.trusted import kept_or_usage, read_keys
from scalewitness_cli.commands.verify import IN_FULL, PROVES_NOT, keys_of, no_key, require_say
from scalewitness_cli.identity import need_identity
from scalewitness_cli.meeting import meet
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.outfiles import write_out
from scalewitness_cli.readings import now_by
from scalewitness_cli.recomputing import SAME
from scalewitness_cli.remote import Stopped
from scalewitness_cli.revoked import known, revoked_among
from scalewitness_cli.trust import witness_keys


@click.command()
@click.argument("animal")
@click.option("--write", "file", required=True, type=click.Path(dir_okay=False, path_type=Path),
    help="The file to write.")  # fmt: skip
@server_option
@json_option
@ends_well
def bundle(animal: str, file: Path, server: str | None, as_json: bool) -> None:
    """Write the whole record of ANIMAL to one file, signed by its log: for anybody to check with
    `scalewitness check-bundle`, or to quote on another server. It names nobody.
    """
    with opened(server) as store:
        identity = need_identity(store)
        found = replica.find(store, animal, now_by(store))
        with api_of(store, identity) as api:
            data = api.file(f"animals/{found['id']}/bundle")
        write_out(file, data)
        made = {"animal": found["id"], "file": str(file), "bytes": len(data)}
        print_result(made, as_json, lambda: f"{line(file)}: {len(data):,} bytes.")


@click.command("check-bundle")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--key", "given", multiple=True, metavar="NAME+ID+BASE64", callback=read_keys,
    help="A public key to trust: the log's or a witness's. Else those kept in the keys file.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="JSON, for programs.")
@click.pass_context
def check_bundle(
    ctx: click.Context, file: Path, given: tuple[VerifierKey, ...], as_json: bool
) -> None:
    """Check the record of an animal that somebody took along from a server, offline: that its log
    signed every entry in it, that they are all there were about the animal, and that the standing
    follows from them.

    Ends with 0 when it holds, with 1 when it does not or an alarm is raised, with 2 when it cannot
    be judged for want of a key.
    """
    status, found = _judged(file, [*given, *kept_or_usage()])
    click.echo(json.dumps(found, ensure_ascii=False) if as_json else _in_words(found))
    ctx.exit(status)


def _judged(file: Path, trusted: list[VerifierKey]) -> tuple[int, dict[str, Any]]:
    with file.open("rb") as opened_file:
        data = opened_file.read(MOST_BYTES + 1)
    found: dict[str, Any] = {"file": str(file)}
    try:
        read = read_bundle(data)
        origin = origin_of(read)
        logs = keys_of(origin, trusted)
        if not logs:
            return USAGE, found | {"holds": None, "why": no_key(origin), "says_key": read.key}
        judged = judge(read, logs, list(dict.fromkeys(witness_keys(trusted))))
        require_say(read_note(read.checkpoint), logs)
    except (BadBundle, BadReceipt) as fault:
        return NEEDS_YOU, found | {"holds": False, "why": str(fault)}
    met = _met(file, read, logs)
    found |= _shown(judged)
    if isinstance(met, Alarm):
        return NEEDS_YOU, found | {"met": f"ALARM {met.id}: {met.why} {IN_FULL}", "alarm": met.id}
    return FINE, found | {"met": met}


def _met(file: Path, read: Bundle, logs: list[VerifierKey]) -> Alarm | str:
    memory, now = Memory(state_folder(), origin_of(read)), int(time.time())
    try:
        return meet(memory, read_note(read.checkpoint), logs, str(file), now)
    except Stopped as why:
        return f"It was not compared: {why}"


def _shown(judged: Judged) -> dict[str, Any]:
    checked = judged.checked
    head = checked.head
    revoked = revoked_among(checked.verified, known(Memory(state_folder(), head.origin)), head.size)
    return {
        "holds": True,
        "animal": checked.animal,
        "log_origin": head.origin,
        "position": head.size - 1,
        "signed_at": judged.signed_at,
        "key": str(checked.key),
        "cosigned": [
            one.name for one in checked.verified if one.at is not None and one not in revoked
        ],
        "entries": [
            {
                "position": at,
                "id": leaf.id,
                "kind": leaf.kind,
                "by": leaf.by,
                "at": leaf.at,
                "signed_on_device": leaf.sig is not None,
                "what": in_words(leaf.kind, leaf.body),
                "texts": {
                    field: text for (fact, field), text in checked.texts.items() if fact == leaf.id
                },
            }
            for at, leaf in sorted(checked.entries.items())
        ],
        **judged.sheet,
        "standing": judged.standing,
        "standing_again": judged.computed,
    }


def _in_words(found: dict[str, Any]) -> str:
    if found["holds"] is None:
        return f"{line(found['file'])}: cannot be judged.\n  {line(found['why'])}"
    if not found["holds"]:
        return f"{line(found['file'])}: DOES NOT HOLD.\n  {line(found['why'])}"
    return "\n".join(
        f"  {line(one)}" if nth else line(one) for nth, one in enumerate(_lines(found))
    )


def _lines(found: dict[str, Any]) -> list[str]:
    number = len(found["entries"])
    codes = [f"{spaced(scheme)} {code}" for scheme, code in found["codes"]]
    return [
        f"{found['file']}: holds.",
        f"{found['species']}; {', '.join(codes) or 'no code'}; there it is animal "
        f"{found['animal']}.",
        f"Complete and unaltered as of position {found['position']} of the log "
        f"{found['log_origin']}, signed {found['signed_at'] or 'at a time that it does not tell'}: "
        f"{number} {'entry' if number == 1 else 'entries'}. What came later is not in it.",
        *(f"Seen by the witness {name}" for name in found["cosigned"]),
        *_standing(found),
        *(_entry(one) for one in found["entries"]),
        f"It does not show: {PROVES_NOT}",
        f"Besides: {found['met']}",
    ]


def _standing(found: dict[str, Any]) -> list[str]:
    stated = found["standing"]
    if stated is None:
        return ["No standing is stated of it there."]
    how = (
        "computed again here, with the same result"
        if found["standing_again"] == SAME
        else f"as computed there, and not again here: {found['standing_again']}"
    )
    return [
        f"Its standing there: {stated.get('label')}; chance of male {stated.get('p_male')}; {how}."
    ]


def _entry(one: dict[str, Any]) -> str:
    signed = "" if one["signed_on_device"] else ", not signed on a device"
    words = "".join(f" {field}: “{text}”." for field, text in one["texts"].items())
    who = one["by"] or "the record"
    return f"{one['position']}: {one['what']} By {who}, {one['at']}{signed}.{words}"
