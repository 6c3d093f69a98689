"""How close two animals are, and what that makes of their young, in words."""

from typing import Final

RELATIONS: Final[tuple[tuple[float, str], ...]] = (
    (0.25, "as close as full siblings, or as a parent and its young"),
    (0.125, "as close as half siblings"),
    (0.0625, "as close as first cousins"),
    (0.015625, "as close as second cousins"),
)
"""Kinship of such pairs whose own parents are unrelated (Wright 1922; Vigeland 2026)."""
NOT_KNOWN: Final = (
    "No common ancestor of the two is on record here. That does not show that they are unrelated: "
    "it shows how far their pedigrees are known."
)
LEAST: Final = (
    "They have so many ancestors that {generations} generations of them are counted here: with all "
    "of them it can only be more."
)
CAUTION: Final = (
    "In inbred young, harm that both carry unseen comes to light. What it costs snakes is not "
    "published where we could read it; look for another mate unless you know why not."
)


def kinship_in_words(kinship: float, generations: int | None = None) -> list[str]:
    """``kinship``: the coefficient of the two, which is the inbreeding of their young;
    ``generations``: of so many alone, None: of all that are known."""
    least = [LEAST.format(generations=generations)] if generations is not None else []
    if kinship <= 0:
        return [NOT_KNOWN, *least]
    near = next((words for most, words in RELATIONS if kinship >= 0.9 * most), None)
    close = near if near and kinship < 0.35 else "closer than full siblings"
    relation = close if near else "related from far off"
    return [
        f"On their pedigrees as stated the two are {relation}: their young would be inbred with a "
        f"coefficient of {kinship:.3f}.",
        *least,
        *([CAUTION] if near else []),
    ]
