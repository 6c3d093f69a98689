"""``scalewitness traits``: what is stated of the traits of an animal, and stating it."""

from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from typing import Any, get_args
from uuid import UUID

import click

from scalewitness.domain.genetics.stated import Basis, Says, Statement
from scalewitness.domain.genetics.stated_words import basis_in_words, statement_in_words
from scalewitness.domain.genetics.traits import loci_of
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness_cli import checks, replica
from scalewitness_cli.checks import BadWord
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
    store_here,
)
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

Shown = dict[str, Any]


@click.group()
def traits() -> None:
    """What people state of the traits of an animal."""


@traits.command("list")
@click.argument("animal")
@server_option
@json_option
@ends_well
def list_(animal: str, server: str | None, as_json: bool) -> None:
    """List what is stated of ANIMAL as of the last sync, with who says so.

    What fell or was withdrawn is listed too, and marked. Of an animal you are to check blind
    nothing is here.
    """
    with opened(server) as store:
        need_identity(store)
        shown = replica.find(store, animal, now_by(store))
        found = list(_stated(store, shown))
        print_result(
            found, as_json, lambda: "\n".join(map(_line, found)) or "Nothing is stated of it here."
        )


@traits.command("state")
@click.argument("animal")
@click.argument("says", type=click.Choice(get_args(Says)))
@click.argument("trait")
@click.option("--basis", type=click.Choice(get_args(Basis)), required=True, help="How you know.")
@click.option("--allele", help="Which, where the trait has several; or which look.")
@click.option("--chance", help="Of may_carry: in how many of 100, as it was sold.")
@click.option("--own-words", is_flag=True, help="TRAIT is in your own words, not in the sheet.")
@click.option("--laboratory", help="Of a DNA test.")
@click.option("--sample", help="The number of the sample.")
@click.option("--note", help="Free text; the log keeps a fingerprint of it only.")
@server_option
@json_option
@ends_well
def state(
    animal: str,
    says: Says,
    trait: str,
    basis: Basis,
    server: str | None,
    as_json: bool,
    own_words: bool,
    **given: str | None,
) -> None:
    """State a trait of ANIMAL in your name: SAYS is what of TRAIT, a key of its species' sheet.

    Stored here, sent by the next sync. Whoever sees the animal whole reads it.
    """
    with opened(server) as store:
        identity = need_identity(store)
        shown = replica.find(store, animal, now_by(store))
        if shown.get("sight") == "blind":
            raise Stopped("You are to check it blind first.")
        body: Shown = {"says": says, "basis": basis}
        texts = {name: given[name] for name in ("laboratory", "sample", "note") if given[name]}
        if own_words:
            texts["words"] = trait
        else:
            body |= {"locus": _key(shown, trait)}
        if given["allele"]:
            body["allele"] = given["allele"]
        if given["chance"]:
            body["chance"] = _share(given["chance"])
        made = checks.fact("trait_stated", shown["id"], rfc3339(moment_now()), body)
        made |= {"texts": texts}
        store_here(store, identity.key, made, made["at"], as_json=as_json)


@traits.command("withdraw")
@click.argument("id")
@click.argument("animal")
@click.option("--note", help="Free text; the log keeps a fingerprint of it only.")
@server_option
@json_option
@ends_well
def withdraw(id: str, animal: str, note: str | None, server: str | None, as_json: bool) -> None:
    """Take back your statement ID of ANIMAL. It stays visible, and counts for nothing.

    Stored here, sent by the next sync.
    """
    with opened(server) as store:
        identity = need_identity(store)
        shown = replica.find(store, animal, now_by(store))
        own = [one for one in _stated(store, shown) if one["by"] == identity.keeper]
        found = [one["id"] for one in own if one["id"].endswith(id) and not one["withdrawn"]]
        if len(found) != 1:
            raise Stopped("You have no such statement of it that holds: scalewitness traits list.")
        now = rfc3339(moment_now())
        made = checks.fact("trait_withdrawn", shown["id"], now, {"stated": found[0]})
        made |= {"texts": {"note": note}} if note else {}
        store_here(store, identity.key, made, now, as_json=as_json)


def _key(shown: Shown, trait: str) -> str:
    known = [one.key for one in loci_of(shown["species"]["key"])]
    if trait not in known:
        listed = f" It has: {', '.join(known)}." if known else ""
        raise BadWord(
            f"The sheet of its species has no trait “{line(trait)}”.{listed} Or say --own-words."
        )
    return trait


def _share(text: str) -> str:
    try:
        return f"{Decimal(text) / 100:.6f}"
    except InvalidOperation:
        raise BadWord("--chance is a number, in how many of 100.") from None


def _stated(store: Store, shown: Shown) -> Iterator[Shown]:
    """In log order."""
    facts = replica.facts_about(store, shown["id"])
    back = {
        one["entry"]["body"]["stated"]: one["entry"]["at"]
        for one in facts
        if one["entry"]["kind"] == "trait_withdrawn"
    }
    changes = {
        one["entry"]["body"]["stated"]: one["entry"]["kind"]
        for one in facts
        if one["entry"]["kind"] in ("claim_fell", "claim_restored")
    }
    species = shown["species"]["key"]
    for one in facts:
        if one["entry"]["kind"] == "trait_stated":
            stated = _statement(one)
            yield {
                "id": str(stated.id),
                "by": str(stated.by),
                "by_name": one["by_name"],
                "at": one["entry"]["at"],
                "withdrawn": back.get(str(stated.id)),
                "fell": changes.get(str(stated.id)) == "claim_fell",
                "states": statement_in_words(species, stated),
                "basis": basis_in_words(stated),
                "note": stated.note,
            }


def _statement(fact: Shown) -> Statement:
    entry = fact["entry"]
    body, texts = entry["body"], fact["texts"]
    chance = body.get("chance")
    return Statement(
        id=UUID(entry["id"]),
        position=fact["position"],
        animal=UUID(entry["about"]),
        by=UUID(entry["by"]),
        at=parse_moment(entry["at"]),
        says=body["says"],
        basis=body["basis"],
        locus=body.get("locus"),
        allele=body.get("allele"),
        chance=float(chance) if chance else None,
        **{name: texts.get(name, "") for name in ("words", "laboratory", "sample", "note")},
    )


def _line(one: Shown) -> str:
    note = f" “{line(one['note'])}”" if one["note"] else ""
    back = f" Withdrawn {one['withdrawn'][:10]}." if one["withdrawn"] else ""
    fell = " It fell: its proved parents speak against it." if one["fell"] else ""
    who = f"{line(one['by_name'])}, {line(one['basis'])}, {one['at'][:10]}"
    return f"{one['id'][-12:]}  It {line(one['states'])}: {who}.{note}{fell}{back}"
