"""``scalewitness register``: one more animal."""

from collections.abc import Callable
from typing import Any

import click

from scalewitness.domain.identifiers import parse_tag, parse_transponder
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.tables.drafts import ListedAnimal, ListedParent
from scalewitness.domain.tables.species_names import see_species
from scalewitness_cli import checks, lists, outbox, replica
from scalewitness_cli.checks import BadWord
from scalewitness_cli.commands.checktime import typed_moment
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store


@click.command()
@click.argument("tag")
@click.option("--species", required=True, help="Its key, its Latin or its common name.")
@click.option("--hatched", metavar="DAY")
@click.option("--transponder", metavar="CODE")
@click.option("--name", help="It stays out of the log.")
@click.option("--rack", help="Where it stands.")
@click.option("--sire", metavar="ANIMAL")
@click.option("--dam", metavar="ANIMAL")
@click.option("--grams", help="What it weighs today.")
@click.option("--collection", metavar="ID", help="Where there are several.")
@server_option
@json_option
@ends_well
def register(tag: str, server: str | None, as_json: bool, **given: Any) -> None:
    """Register an animal of yours that bears the TAG.

    Stored here, sent by the next sync. The same said twice registers one. Its sex takes a check.
    """
    with opened(server) as store:
        identity, now = need_identity(store), now_by(store)
        own = replica.collections(store)
        mine = [id for id, held in own.items() if held["role"] in {"keeper", "partner"}]
        draft = _drafted(store, tag, given)
        listed = lists.ListedHere(draft, lists.collection_for(draft, mine))
        _check_free(store, listed, identity.keeper)
        items = lists.items_of(0, {0: listed}, identity.keeper, rfc3339(now), "")
        (new,) = outbox.add_new(store, identity.key, [items], rfc3339(moment_now()))
        animal = listed.ids(identity.keeper).animal
        species = taxon(draft.species).common
        print_result(
            {"animal": animal, "species": draft.species, "stored": new},
            as_json,
            lambda: (
                f"Stored here: {line(tag)}, a {species}, {animal}."
                if new
                else f"{line(tag)} was registered so before: {animal}."
            ),
        )


def _drafted(store: Store, tag: str, given: dict[str, Any]) -> ListedAnimal:
    """Raises BadWord or Stopped."""
    now = now_by(store)
    species = see_species(given["species"])
    if not species.sure:
        meant = f" Was {species.key} meant?" if species.key else ""
        raise BadWord(f"“{line(given['species'])}” is no species that is known here.{meant}")
    hatched = typed_moment(given["hatched"], now).astimezone().date() if given["hatched"] else None
    if hatched and hatched > now.astimezone().date():
        raise BadWord("--hatched is still to come.")
    return ListedAnimal(
        species=species.key,
        tag=_typed("The tag", parse_tag, tag),
        transponder=_typed("--transponder", lambda code: parse_transponder(code).code, chip)
        if (chip := given["transponder"]) else "",
        hatched=hatched.isoformat() if hatched else "",
        name=given["name"] or "", rack=given["rack"] or "", collection=given["collection"] or "",
        sire=_parent(store, given["sire"]), dam=_parent(store, given["dam"]),
        grams=checks.in_grams(given["grams"]) if given["grams"] else "",
        weighed=rfc3339(now)[:10] if given["grams"] else "",
    )  # fmt: skip


def _typed(name: str, parse: Callable[[str], str], text: str) -> str:
    try:
        return parse(text)
    except ValueError as fault:
        raise BadWord(f"{name}: {fault}.") from None


def _parent(store: Store, word: str | None) -> ListedParent | None:
    if not word:
        return None
    return ListedParent(word, animal=replica.find(store, word, now_by(store))["id"])


def _check_free(store: Store, listed: lists.ListedHere, keeper: str) -> None:
    """Two of one keeper's animals with one tag cannot be told apart by it.

    Raises:
        Stopped: another one bears it.
    """
    known = lists.known_by_code(store)
    for scheme, code in (("tag", listed.draft.tag), ("transponder", listed.draft.transponder)):
        for one in known.get((scheme, code.casefold()), []) if code else []:
            if one.id != listed.ids(keeper).animal:
                raise Stopped(f"{one.title} bears the {scheme} {line(code)} already.")
