"""Letters about a transponder's number that two records bear."""

from typing import Literal
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.letters.animals import concerned, describe, notify_concerned, stewards
from scalewitness.letters.owing import Owing


def notify_of_number(
    number: str, newer: Animal, older: Animal | None, cause: UUID, owing: Owing
) -> None:
    """Whoever keeps either hears that the number is on another record too, and nothing else of
    it; who keeps both, once. ``older``: None where its keepers have heard of it."""
    keeping = {one.pk: one for one in stewards(newer, owing)}
    others = {one.pk: one for one in stewards(older, owing)} if older else {}
    readers = [(one, newer, "newer") for one in keeping.values()]
    if older:
        readers += [(one, older, "older") for key, one in others.items() if key not in keeping]
    for keeper, animal, which in readers:
        owing.owe(
            "number_known",
            cause=cause,
            recipient=keeper.pk,
            to=keeper.email,
            context={
                "to_name": keeper.name,
                "animal": describe(animal),
                "number": number,
                "which": "both" if keeper.pk in others and which == "newer" else which,
            },
        )


def notify_of_move(
    number: str, other: Animal | None, how: Literal["given", "withdrawn"], cause: UUID, owing: Owing
) -> None:
    """Keepers of a record that bears, or bore, the number, and whoever sold that animal, hear that
    another was ``given`` it, or that it was ``withdrawn`` from one."""
    if other is not None:
        readers = [one for one in concerned(other, owing) if one.keeper.pk != owing.sender]
        context = {"number": number, "how": how}
        notify_concerned(readers, other, "number_moved", cause, context, owing)
