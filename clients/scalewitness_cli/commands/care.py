"""``scalewitness weigh``, ``feed``, ``shed``, ``note`` and ``move``: how an animal is kept."""

import sys
from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import care, checks, outbox, replica
from scalewitness_cli.checks import BadWord
from scalewitness_cli.commands.asking import WORDS
from scalewitness_cli.commands.checktime import AS_READ, CORRECTED, When, now_or_typed
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.editing import store_edit
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.identity import need_identity
from scalewitness_cli.readings import keep_readings, now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

Command = Callable[..., None]


def when_options(command: Command) -> Command:
    """``--at`` and ``--clock``: when it was, by a clock that may be off."""
    for option in (
        click.option("--at", metavar="WHEN", help="today, yesterday, a day or a time; else now."),
        click.option("--clock", type=WORDS((CORRECTED, AS_READ)),
            help="Where this computer's clock is off: the corrected time, or what it says."),
    ):  # fmt: skip
        command = option(command)
    return command


@click.command()
@click.argument("animal")
@click.argument("grams")
@when_options
@server_option
@json_option
@ends_well
def weigh(
    animal: str, grams: str, at: str | None, clock: str | None, server: str | None, as_json: bool
) -> None:
    """Note that ANIMAL weighs GRAMS: 412.5 or 412,5.

    Stored here, sent by the next sync. On a visit too: an animal's guest may leave its weight.
    """
    weight = care.weight(grams)
    with opened(server) as store:
        when = now_or_typed(store, at, clock, ask=sys.stdin.isatty())
        shown = replica.find(store, animal, when.best)
        before = shown.get("condition", {})
        last = (
            f"  Before: {before['grams']} g on {str(before['weighed_at'])[:10]}."
            if before.get("grams")
            else ""
        )
        _store(store, [shown], weight, when, as_json, guests=True, last=last)


@click.command()
@click.argument("animals", nargs=-1)
@click.option("--rack", help="All that stand there: R2 is R2-1, R2-2 and so on.")
@click.option("--except", "but", multiple=True, metavar="ANIMAL", help="Of these, not this one.")
@click.option("--refused", is_flag=True, help="It was offered and not taken.")
@click.option("--grams", help="What the meal weighed.")
@when_options
@server_option
@json_option
@ends_well
def feed(
    animals: tuple[str, ...], rack: str | None, but: tuple[str, ...], refused: bool,
    grams: str | None, at: str | None, clock: str | None, server: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Note that ANIMALS, or all of a rack, took a meal, or refused one.

    Stored here, sent by the next sync.
    """
    if bool(animals) == bool(rack):
        raise click.UsageError("Name animals, or a --rack.")
    meal = care.meal(taken=not refused, grams=grams)
    with opened(server) as store:
        when = now_or_typed(store, at, clock, ask=sys.stdin.isatty())
        left = {replica.find(store, one, when.best)["id"] for one in but}
        if rack:
            found = [one for one in care.kept(store) if care.stands_in(one, rack)]
            if not found:
                raise Stopped(f"None of your animals stands in “{rack}”.")
        else:
            found = [replica.find(store, one, when.best) for one in dict.fromkeys(animals)]
        if strangers := left - {one["id"] for one in found}:
            raise BadWord(f"--except names {len(strangers)} that would not be fed anyway.")
        fed = [one for one in found if one["id"] not in left]
        _store(store, fed, meal, when, as_json)


@click.command()
@click.argument("animal")
@click.argument("stage", type=WORDS(checks.SHEDS))
@when_options
@server_option
@json_option
@ends_well
def shed(
    animal: str, stage: str, at: str | None, clock: str | None, server: str | None, as_json: bool
) -> None:
    """Note where ANIMAL is in its shed.

    Stored here, sent by the next sync.
    """
    with opened(server) as store:
        when = now_or_typed(store, at, clock, ask=sys.stdin.isatty())
        shown = replica.find(store, animal, when.best)
        _store(store, [shown], {"type": "shed", "stage": stage}, when, as_json)


@click.command()
@click.argument("animal")
@click.argument("text")
@click.option("--health", "sign", type=WORDS(care.SIGNS), help="What it shows, where it is that.")
@when_options
@server_option
@json_option
@ends_well
def note(
    animal: str, text: str, sign: str | None, at: str | None, clock: str | None,
    server: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Note TEXT about the keeping of ANIMAL, or its health.

    Stored here, sent by the next sync. The log keeps a fingerprint of the text. Gravid, ill,
    injured or under treatment asks everyone to leave it alone.
    """
    if not text.strip():
        raise click.UsageError("There is no text to note.")
    with opened(server) as store:
        when = now_or_typed(store, at, clock, ask=sys.stdin.isatty())
        shown = replica.find(store, animal, when.best)
        noted = {"type": "health", "sign": sign} if sign else {"type": "remark"}
        _store(store, [shown], noted, when, as_json, text=text)


@click.command()
@click.argument("animal")
@click.argument("place")
@server_option
@json_option
@ends_well
def move(animal: str, place: str, server: str | None, as_json: bool) -> None:
    """Note that ANIMAL stands at PLACE from now on, such as R2-14.

    Stored here, sent by the next sync. Where it stands is no part of the log.
    """
    with opened(server) as store:
        shown = replica.find(store, animal, now_by(store))
        before = shown.get("rack") or "no place"
        id = store_edit(store, shown, {"rack": place})
        print_result(
            {"stored": [id]},
            as_json,
            lambda: (
                f"Stored here: {line(replica.code_of(shown))} from {line(before)} to {line(place)}."
            ),
        )


def _store(
    store: Store, animals: Iterable[replica.Shown], noted: dict[str, Any], when: When,
    as_json: bool, *, guests: bool = False, last: str = "", text: str = "",
) -> None:  # fmt: skip
    """The same of each of them, all stored or none."""
    identity = need_identity(store)
    animals = list(animals)
    for shown in animals:
        if not (guests or replica.is_steward(store, shown)):
            raise Stopped(
                f"{replica.code_of(shown)}: only its keeper and partners note that of an animal."
            )
    if not animals:
        raise Stopped("Nothing is left to note.")
    if when.best > now_by(store) + timedelta(minutes=1):
        raise BadWord("That is still to come: note it when it was.")
    made: list[Fact] = [care.fact_of(shown, rfc3339(when.at), noted, text) for shown in animals]
    stored = outbox.add(
        store, identity.key, [when.put_right(one) for one in made], rfc3339(when.best),
        along=lambda connection: keep_readings(connection, when.ids_read(made), when.noted)
        if when.noted else None,
    )  # fmt: skip
    codes = ", ".join(line(replica.code_of(one) or one["id"][-12:]) for one in animals)
    notes = [one.replace(" ID ", f" {stored[0].id} ") for one in when.notes]
    print_result(
        {"stored": [one.id for one in stored], "at": stored[0].sent["at"], "told": notes},
        as_json,
        lambda: "\n".join(
            filter(None, [f"Stored here of {codes}: {care.in_words(noted)}", last, *notes])
        ),
    )
