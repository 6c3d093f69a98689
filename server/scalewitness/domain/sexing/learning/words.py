"""What a learned number is about, for a keeper to read."""

from collections.abc import Sequence
from typing import Final, Literal

from msgspec import Struct

from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.taxa import UnknownSpecies, taxon

Unit = Literal["of animals", "of checks", "scales", "times"]


class Meaning(Struct, frozen=True):
    """``about``: a line of a table; ``unit``: what its value counts, a share as in 0.05 ``of
    checks``."""

    about: str
    unit: Unit


def meaning(name: str) -> Meaning | None:
    """Of the number of that name; None where it is about one person, or of a kind unknown here."""
    family, *rest = name.split(".")
    given = _FAMILIES.get((family, len(rest)))
    return given(rest) if given else None


def _error(rest: Sequence[str]) -> Meaning | None:
    role, method, sex = rest
    return Meaning(
        f"{_noun(method)} by {_ROLES.get(role, role)}: {sex}s taken for {_OTHER[sex]}s", "of checks"
    )


def _mislead(rest: Sequence[str]) -> Meaning | None:
    method, sex = rest
    if method == "statement":
        return Meaning(f"{_noun(method)}: {sex}s passed on as {_OTHER[sex]}s", "of animals")
    return Meaning(
        f"{_noun(method)}: {sex}s that look {_OTHER[sex]} to whoever examines them", "of animals"
    )


def _depth(rest: Sequence[str]) -> Meaning | None:
    species, sex, what = rest
    try:
        common = taxon(species).common
        common = f"{common[0].upper()}{common[1:]}"
    except UnknownSpecies:
        common = species
    asked = {"middle": "how deep most probe", "spread": "how far their depths lie apart"}
    return Meaning(f"{common}, {sex}s: {asked[what]}", "scales") if what in asked else None


def _stage(rest: Sequence[str]) -> Meaning | None:
    method, stage = rest
    return Meaning(f"{_noun(method)}, {stage}s: {_MISTAKES}", "times")


def _followed(rest: Sequence[str]) -> Meaning:
    return Meaning(
        "Checks by people who knew an answer: animals of which all of them repeated it",
        "of animals",
    )


def _blind_followed(rest: Sequence[str]) -> Meaning | None:
    if list(rest) != ["followed"]:
        return None
    return Meaning(
        "Checks said to be blind, after somebody else’s: those that repeat its answer all the same",
        "of checks",
    )


def _probe(rest: Sequence[str]) -> Meaning | None:
    probe, sex = rest
    return Meaning(f"Probing with a {probe} probe for the weight, {sex}s: {_MISTAKES}", "times")


_MISTAKES: Final = "mistakes, against the usual number"
_FAMILIES: Final = {
    ("error", 3): _error,
    ("mislead", 2): _mislead,
    ("depth", 3): _depth,
    ("error_by_stage", 2): _stage,
    ("error_by_probe", 2): _probe,
    ("followed", 0): _followed,
    ("blind", 1): _blind_followed,
}
_OTHER: Final = {"male": "female", "female": "male"}
_ROLES: Final = {
    "keeper": "keepers",
    "veterinarian": "veterinarians",
    "laboratory": "laboratories",
    "earlier_keeper": "earlier keepers",
}


def _noun(method: str) -> str:
    noun = METHODS[method].noun if method in METHODS else method
    return f"{noun[0].upper()}{noun[1:]}"
