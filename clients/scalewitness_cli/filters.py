"""Which of the animals known here are as asked: the filters of the server's list that a machine
can answer by itself.

An animal that is to be checked blind is found by its codes and species, and where more is asked by
nothing: so no result tells of it what its bare twin would not.
"""

from dataclasses import dataclass
from typing import Any

Shown = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Filters:
    """Empty: not asked for."""

    text: str = ""
    species: str = ""
    standing: str = ""
    sex: str = ""
    collection: str = ""

    def find(self, shown: Shown) -> bool:
        """Whether the animal is one of those asked for."""
        whole = shown.get("sight") == "all"
        if (self.standing or self.sex or self.collection) and not whole:
            return False
        label = ((shown.get("standing") or {}).get("label", "unsexed")).split()
        return (
            self.standing in {"", label[0]}
            and self.sex in {"", label[-1]}
            and _holds(_species(shown), self.species)
            and (not self.collection or _holds(_collection(shown), self.collection))
            and _holds(_words(shown) if whole else _on_sheet(shown), self.text)
        )


def _holds(words: list[str], text: str) -> bool:
    return any(text.casefold() in one.casefold() for one in words)


def _species(shown: Shown) -> list[str]:
    kind = shown["species"]
    return [kind["key"], kind["common"], kind["scientific"]]


def _collection(shown: Shown) -> list[str]:
    kept = shown.get("collection") or {}
    return [str(kept[name]) for name in ("id", "name") if kept.get(name)]


def _on_sheet(shown: Shown) -> list[str]:
    codes = (one for one in shown.get("identifiers", []) if one["scheme"] != "scale_photo")
    return [*_species(shown), *(one["code"] for one in codes)]


def _words(shown: Shown) -> list[str]:
    codes = (one["code"] for one in shown.get("identifiers", []))
    more = (shown.get("name"), shown.get("rack"), *(shown.get("traits") or ()))
    return [*_species(shown), *codes, *filter(None, more)]
