"""``scalewitness import`` and ``export``: checks and animals, from files and into CSV."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.tables.plan import ImportPlan
from scalewitness_cli import csvs, outbox, replica
from scalewitness_cli.commands.common import (
    FINE,
    NEEDS_YOU,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.lists import (
    Importing,
    ask,
    columns_in_words,
    preview,
    put_beside,
    questions_in_words,
)
from scalewitness_cli.commands.progress import counted
from scalewitness_cli.csvs import Read, Row
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.identity import Identity, moment_now, need_identity
from scalewitness_cli.outfiles import write_out
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store
from scalewitness_cli.whose_log import origin_of

WHAT = click.Choice(("calls", "animals"))
NEEDED = ("animal", "at", "conclusion", "sureness", "identified", "held_by")


@click.command("import")
@click.argument("what", type=WHAT)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Of animals: store nothing, tell what would be.")
@click.option("--column", "columns", multiple=True, metavar="HEADING=FIELD")
@click.option("--answer", "replies", multiple=True, metavar="NAME=VALUE", help="Answer a question.")
@click.option("--sheet", metavar="NAME", help="Of a workbook; else the likeliest.")
@click.option("--collection", metavar="ID", help="Where there are several.")
@server_option
@json_option
@click.pass_context
@ends_well
def import_(
    ctx: click.Context,
    what: str,
    file: Path,
    *,
    dry_run: bool,
    columns: tuple[str, ...],
    replies: tuple[str, ...],
    sheet: str | None,
    collection: str | None,
    server: str | None,
    as_json: bool,
) -> None:
    """Store what a FILE lists, to be sent by the next sync.

    animals: any list, as XLSX, ODS or CSV. Its columns are known by their headings or by what
    stands in them: species and a tag, transponder or name; if you like sex, hatched, sire, dam,
    weight (or grams, kilograms, ounces, pounds), weighed, traits, rack, description. Parents are
    found in the list or among your animals. What the list leaves open, and what it hides, is asked
    once, or answered by --answer. A sex goes on record as somebody's word, never as a check.

    calls: CSV in UTF-8: animal (tag, code, name or id), at (a time with its offset), left and right
    (runs as 9:resistance, several separated by spaces) or observed (JSON), conclusion, sureness,
    identified, held_by; if you like probe_mm, harm, told, grams, visit, note, and unusual (yes
    where a run did go deeper than any source gives).

    A line that is no good is told by its number and kept in FILE.rejected.csv; the others are
    stored. Reading a file twice doubles nothing.
    """
    with opened(server) as store:
        identity = need_identity(store)
        if what == "animals":
            importing = Importing(store, identity, file, sheet)
            answers = importing.answers(columns, replies)
            plan = importing.plan(answers) if as_json else ask(importing, answers)
            if dry_run:
                click.echo(preview(plan, importing.table))
                return
            shown = importing.store(plan, collection)
        else:
            shown = _import_calls(store, identity, file)
            plan = None
    print_result(shown, as_json, lambda: _in_words(shown, plan))
    ctx.exit(NEEDS_YOU if shown["bad"] else FINE)


def _import_calls(store: Store, identity: Identity, file: Path) -> dict[str, Any]:
    found = csvs.read(_text(file), csvs.CALLS, NEEDED, _Calls(store, identity))
    # First, so that where it cannot be written nothing is stored either.
    rejected = _set_aside(file, found)
    groups = [one.facts for one in found.good]
    stored = outbox.add_new(
        store, identity.key, counted(groups, "lines signed"), rfc3339(moment_now())
    )
    return _counted(found, stored) | {"rejected_file": rejected}


@click.command("export")
@click.argument("what", type=WHAT)
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@server_option
@json_option
@ends_well
def export(what: str, file: Path | None, server: str | None, as_json: bool) -> None:
    """Write what is known here as CSV, or with --json as a list, to FILE or to the output.

    Of animals you are to check blind there is no call and no standing to write.
    """
    with opened(server) as store:
        need_identity(store)
        everyone = replica.animals(store)
        if what == "animals":
            rows = list(map(csvs.animal_row, everyone))
        else:
            rows = _calls(store, everyone)
    columns = csvs.OUT_ANIMALS if what == "animals" else csvs.OUT_CALLS
    text = json.dumps(rows, ensure_ascii=False) if as_json else csvs.table(columns, rows)
    if file is None:
        click.echo(text.encode(), nl=False)
    else:
        write_out(file, text)


def _calls(store: Store, everyone: list[dict[str, Any]]) -> list[dict[str, object]]:
    return [row for shown in everyone for row in _calls_on(store, shown)]


def _calls_on(store: Store, shown: dict[str, Any]) -> Iterator[dict[str, object]]:
    facts, code = list(replica.facts_about(store, shown["id"])), replica.code_of(shown)
    origin = origin_of(store)
    reports: dict[str, str] = {}
    for fact in facts:
        reports |= {one["call"]: one["report"] for one in fact["entry"]["body"].get("reports", ())}
    for fact in facts:
        if fact["entry"]["kind"] == "call_made":
            report = reports.get(fact["entry"]["id"], "unconfirmed")
            yield csvs.call_row(fact, code, report, origin)


def _text(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8")
    except UnicodeDecodeError:
        raise Stopped(f"{file} is not UTF-8; save it as CSV UTF-8. Nothing was stored.") from None


class _Calls:
    """Lines about checks, with the animals looked up once."""

    def __init__(self, store: Store, identity: Identity) -> None:
        self._store, self._keeper, self._now = store, identity.keeper, now_by(store)
        self._seen: dict[str, tuple[dict[str, Any], bool]] = {}

    def __call__(self, row: Row) -> list[Fact]:
        word = row["animal"]
        if word not in self._seen:
            shown = replica.find(self._store, word, self._now)
            self._seen[word] = shown, replica.is_steward(self._store, shown)
        shown, steward = self._seen[word]
        animal = shown["id"]
        visit = None if steward else replica.visit_covering(self._store, animal, row["at"])
        return csvs.call_facts(
            row, animal, self._keeper,
            species=shown["species"]["key"], steward=steward, visit=visit,
        )  # fmt: skip


def _set_aside(file: Path, found: Read) -> str | None:
    """The lines that were no good, as they stood, to be corrected and read again."""
    if not found.bad:
        return None
    return put_beside(
        file, "".join([found.head, *(line for one in found.bad for line in one.lines)])
    )


def _counted(found: Read, stored: list[int]) -> dict[str, Any]:
    """What became of every line after the head: ``lines`` is the sum of the other lines."""
    new = [len(line.lines) for line, items in zip(found.good, stored, strict=True) if items]
    items = sum(len(line.facts) for line in found.good)
    return {
        "lines": found.count,
        "lines_stored": sum(new),
        "lines_known": sum(len(line.lines) for line in found.good) - sum(new),
        "lines_blank": found.blank,
        "lines_bad": sum(len(line.lines) for line in found.bad),
        "stored": sum(stored),
        "known_already": items - sum(stored),
        "bad": [{"line": one.number, "why": one.why} for one in found.bad],
    }


def _in_words(shown: dict[str, Any], plan: ImportPlan | None) -> str:
    no_animals = f", {shown['lines_aside']} no animal" if shown.get("lines_aside") else ""
    lines = [
        f"{_lines(shown['lines'])} after the head: {shown['lines_stored']} stored here as "
        f"{shown['stored']} items, {shown['lines_known']} here already, "
        f"{shown['lines_bad']} no good, {shown['lines_blank']} blank{no_animals}."
    ]
    if plan is not None:
        lines += [*columns_in_words(plan), *questions_in_words(plan)]
    lines += [f"line {one['line']}: {line(one['why'])}" for one in shown["bad"]]
    if shown["bad"]:
        where = f"in {shown['rejected_file']}" if shown["rejected_file"] else "on standard error"
        lines.append(f"Rejected lines are {where}, unchanged.")
    if shown["stored"]:
        lines.append("scalewitness sync sends what is stored.")
    return "\n".join(lines)


def _lines(number: int) -> str:
    return f"{number} line" if number == 1 else f"{number} lines"
