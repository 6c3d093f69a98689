"""One snake on two records: what its keeper says of the other, and what the other says."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse

from scalewitness.animals.models import Animal
from scalewitness.animals.queries.joining import joins_of, proposals_about, to_answer
from scalewitness.calls.queries.bearing import numbers_shared
from scalewitness.pages.animals.animal import say_of, stewarded_animal
from scalewitness.pages.animals.forms import JoiningForm
from scalewitness.pages.parts.access import signed_in
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of


@signed_in
def join_records(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """All that its keeper may say of another record of it: one of it is chosen."""
    animal = stewarded_animal(keeper, animal_id)
    form = JoiningForm(request.POST or None, may_say=_may_say(animal))
    return say_of(request, keeper, animal, form, "One snake on two records")


def _may_say(animal: Animal) -> list[tuple[str, str]]:
    """What there is to choose from, and in which words."""
    proposals = proposals_about(animal.pk)
    asked, joins = to_answer(proposals, animal.pk), joins_of(proposals)
    names = names_of([one.by for one in asked])
    found = []
    for one in asked:
        who = names.get(one.by, "The other keeper")
        what = "two snakes; part them" if one.parts_id else "one snake; join them"
        found += [
            (f"agree {one.pk}", f"{who} is right: the two records are of {what}."),
            (f"refuse {one.pk}", f"I do not agree with {who}."),
        ]
    for one in joins:
        found.append((f"part {one.pk}", "It is another snake after all. Ask to part the two."))
    if not (asked or joins):
        found += [
            (f"join {code}", f"The other record with the number {code} is of this snake. Ask.")
            for code in numbers_shared(animal.pk)
        ]
    return found
