"""What is said of a finding: what it comes to, and on whose word it rests."""

from collections.abc import Mapping
from typing import Literal

Part = Literal["arbiter", "buyer", "seller"]
"""Who may answer a finding."""

CLAIMS = {
    "": "it is their own word",
    "agreement": "both sides agree",
    "arbiter": "it is an arbiter’s",
    "veterinarian": "it is a veterinarian’s",
}
NEEDS_ASSENT = {
    "agreement": frozenset({"buyer", "seller", "other buyer", "other seller"}),
    "arbiter": frozenset({"arbiter"}),
}
"""Whose yes makes it so."""
ANSWERS = {True: "has confirmed it", False: "denies it"}
OUTCOMES = {
    "call_set_aside": "A call is set aside: it stays on record, and no longer counts",
    "calls_stand": "The calls stand as they are",
    "wrong_animal": "Another animal was checked",
    "unresolved": "It cannot be settled on what is known",
}


def on_whose_word(recorder: str, basis: str, answers: Mapping[str, bool | None]) -> str:
    """As a sentence. ``recorder``: who recorded it, such as “keeper”; ``answers``: of those who
    may answer, None while they have not. What a keeper says of others is theirs to confirm."""
    claim = CLAIMS[basis]
    needed = NEEDS_ASSENT.get(basis, frozenset())
    confirmed = any(answers.get(part) for part in needed)
    says = _capital(claim) if confirmed else f"The {recorder} says that {claim}"
    replies = [
        f"the {part} {ANSWERS[agrees]}" for part, agrees in answers.items() if agrees is not None
    ]
    silent = [f"the {part}" for part, agrees in answers.items() if agrees is None]
    if needed and not confirmed and silent:
        replies.append(_not_confirmed(silent))
    if needed and not answers:
        replies = ["nobody else has confirmed it"]
    return "; ".join([says, " and ".join(replies)] if replies else [says]) + "."


def _not_confirmed(silent: list[str]) -> str:
    if len(silent) == 1:
        return f"{silent[0]} has not confirmed it"
    return f"neither {' nor '.join(silent)} has confirmed it"


def outcome_in_words(outcome: str, set_aside: int, proposed: int) -> str:
    """Without a full stop. ``set_aside``: how many calls are, ``proposed``: how many are not, and
    would be."""
    if outcome != "call_set_aside" or not proposed:
        return OUTCOMES[outcome]
    waiting = "A call is proposed to be set aside: it counts until somebody else agrees"
    return f"{OUTCOMES[outcome]}. {waiting}" if set_aside else waiting


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
