"""``scalewitness carries`` and ``prospects``: what animals carry, and what two should bring."""

from collections.abc import Iterator
from typing import Any

import click

from scalewitness.domain.genetics.trade_words import chance_in_words
from scalewitness_cli import replica
from scalewitness_cli.commands.common import (
    api_of,
    ending,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import need_identity
from scalewitness_cli.readings import now_by

ends_without = ending("It is worked out by the server: ask again where it can be reached.")
Shown = dict[str, Any]
WHY = {
    "too_tangled": "Their pedigree is too tangled to be worked out.",
    "contradiction": "What is stated of them cannot all be so.",
    "cross": "Of a cross nothing is worked out.",
    "nothing_stated": "Nothing that can be computed is stated of them or of a relative.",
}


@click.command()
@click.argument("animal")
@server_option
@json_option
@ends_without
def carries(animal: str, server: str | None, as_json: bool) -> None:
    """Show what ANIMAL carries: hets, copies and chances, with what they rest on.

    Worked out by the server from what you may see of it and of its relatives.
    """
    with opened(server) as store:
        identity = need_identity(store)
        known = replica.find(store, animal, now_by(store))
        with api_of(store, identity) as api:
            found = api.get(f"animals/{known['id']}/carries")
        print_result(found, as_json, lambda: "\n".join(_carried(known, found)))


@click.command()
@click.argument("animal")
@click.argument("mate")
@click.option("--season", type=int, help="The year in which the young are expected.")
@click.option("--young", type=int, help="Eggs, or young born; else as published of the species.")
@click.option("--least", type=int, help="Of what is wanted, at least so many.")
@click.option("--cross", is_flag=True, help="They are of two species, and meant to be.")
@server_option
@json_option
@ends_without
def prospects(
    animal: str,
    mate: str,
    server: str | None,
    as_json: bool,
    cross: bool,
    **asked: int | None,
) -> None:
    """Show what ANIMAL and MATE should bring: looks, hets and sexes, and how many of a clutch.

    Planned or not; nothing is recorded by asking. Every chance of young holds if the two are a
    male and a female, and the chance of that is told with it.
    """
    with opened(server) as store:
        identity = need_identity(store)
        one, other = (replica.find(store, word, now_by(store)) for word in (animal, mate))
        given = {name: str(value) for name, value in asked.items() if value is not None}
        given |= {"mate": other["id"], "cross": "yes" if cross else "no"}
        with api_of(store, identity) as api:
            found = api.get(f"animals/{one['id']}/prospects", **given)
        names = {shown["id"]: named(shown) for shown in (one, other)}
        print_result(found, as_json, lambda: "\n".join(_brought(found, names)))


def named(shown: Shown) -> str:
    return line(shown.get("name") or replica.code_of(shown) or shown["id"][-12:])


def _carried(known: Shown, found: Shown) -> Iterator[str]:
    yield f"{named(known)}, from {found['relatives']} relatives that you may see"
    for locus in found["loci"]:
        yield f"  {line(locus['name'])}"
        if locus["contradicts"]:
            yield "    ! What is stated cannot all be so."
        if locus["from_nearest"]:
            yield f"    ! From the {locus['from_nearest']} nearest only: the rest is too tangled."
        yield from _chances(locus["chances"])
        yield from (f"    · {line(one)}" for one in locus["rests_on"])
    if not found["loci"]:
        yield "  Nothing that can be computed is stated of it or of a relative."


def _chances(rows: list[Shown]) -> Iterator[str]:
    for one in rows:
        if one["chance"] >= 0.0005:
            yield f"    {line(one['words'])}: {chance_in_words(one['chance'])}"


def _brought(found: Shown, names: dict[str, str]) -> Iterator[str]:
    sire, dam = (names[found[role]["animal"]] for role in ("sire", "dam"))
    pair, strictly = (chance_in_words(found[name]) for name in ("pair", "strictly"))
    yield f"{sire} (sire) with {dam} (dam), {found['season']}"
    for one in found["harm"]:
        yield f"  ! Never proposed: {line(one['caution'])} {chance_in_words(one['chance'])}."
    yield f"  A male and a female: {pair}; trusting every call less, {strictly}"
    yield from (f"  {line(one)}" for one in found["kinship"]["words"])
    for role in ("sire", "dam"):
        for one in found[role]["cautions"]:
            source = f" ({line(one['rests_on'])})" if one["rests_on"] else ""
            yield f"  ! {names[found[role]['animal']]}: {line(one['text'])}{source}"
    if found["not_worked_out"]:
        yield f"  {WHY[found['not_worked_out']]}"
    if found["alike"]:
        yield f"  Of {line(found['clutch'])}:"
    yield from map(_alike, found["alike"])


def _alike(one: Shown) -> str:
    known = f"    {line(one['looks'])}: {chance_in_words(one['chance'])} of one young"
    if one["expected"] is None:
        return known
    least, overall = (chance_in_words(one[name]) for name in ("at_least", "overall"))
    return (
        f"{known}; {one['expected']:.1f} expected; as many as asked for: {least}, times the chance "
        f"of a pair {overall}"
    )
