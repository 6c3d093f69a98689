"""Letters to two accounts that a finding names as one person's. Neither is told who the other is,
nor anything of the animal but the codes that it bore when they first spoke of it."""

from datetime import datetime
from typing import Any

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animals_of
from scalewitness.calls.models import Attestation, Call
from scalewitness.letters.animals import describe
from scalewitness.letters.owing import Owing
from scalewitness.mail.models import UNSENT, Letter
from scalewitness.people.models import Keeper, NamedAsOne


def notify_of_naming(named: NamedAsOne, animal: Animal, until: datetime, owing: Owing) -> None:
    """Both, with the day until which nothing follows."""
    _tell("named_as_one", named, animal, {"until": until.isoformat()}, owing)


def notify_of_answer(named: NamedAsOne, animal: Animal, owing: Owing, *, right: bool) -> None:
    """Both, once the operator answered the objection of one of them."""
    _tell("named_as_one_answered", named, animal, {"right": right}, owing)


def _tell(
    kind: str, named: NamedAsOne, animal: Animal, context: dict[str, Any], owing: Owing
) -> None:
    for keeper in (named.first, named.second):
        if keeper.is_active:
            described = _as_known(animal, keeper)
            owing.owe(
                kind,
                cause=named.pk,
                recipient=keeper.pk,
                to=keeper.email,
                context={"to_name": keeper.name, "animal": described, **context},
                about=f"named {named.pk}",
            )


def as_known(named: NamedAsOne, keeper: Keeper) -> dict[str, Any]:
    """The animal, as one of the two knows it."""
    return _as_known(animals_of([named.animal])[named.animal], keeper)


def _as_known(animal: Animal, keeper: Keeper) -> dict[str, Any]:
    return describe(animal, named=False, codes=_known_to(keeper, animal))


def _known_to(keeper: Keeper, animal: Animal) -> list[Any]:
    """The codes that the animal bore when they spoke of it last."""
    if animal.collection.keeper_id == keeper.pk:
        return list(animal.identifiers.all())
    calls = Call.objects.filter(animal=animal, by=keeper.pk).values_list("position", flat=True)
    stated = Attestation.objects.filter(call__animal=animal, by=keeper.pk)
    last = max((*calls, *stated.values_list("position", flat=True)), default=0)
    return [one for one in animal.identifiers.all() if one.position < last]


def informed_at(named: NamedAsOne) -> datetime | None:
    """When the later of the two letters left, or was given up; None while one waits."""
    letters = list(Letter.objects.filter(kind="named_as_one", cause=named.pk))
    if any(one.state in UNSENT for one in letters):
        return None
    return max((one.sent_at or one.created_at for one in letters), default=named.at)
