"""Reading lists on their way in, and what of them is on record already."""

import zlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Final
from uuid import UUID

import msgspec
from django.utils.crypto import salted_hmac
from msgspec.structs import replace

from scalewitness.animals.models import IN_ERROR, Animal, Identifier
from scalewitness.animals.queries import is_steward, stewarded_ids, title_of
from scalewitness.domain.tables.drafts import ContentIds, ListedAnimal
from scalewitness.domain.tables.lines import ByCode, KnownAnimal, ListLine
from scalewitness.domain.tables.plan import Answers, ImportPlan, plan_of
from scalewitness.domain.tables.sheets import ListFile
from scalewitness.importing.models import Upload

KEPT_FOR: Final = timedelta(days=1)
"""Lists hold what their keeper never meant to show, such as who bought what (our judgement)."""


def upload_of(id: UUID, keeper: UUID, now: datetime) -> Upload | None:
    """The keeper's own, while it is kept and they may register animals in its collection."""
    since = now - KEPT_FOR
    found = Upload.objects.select_related("collection", "keeper")
    upload = found.filter(pk=id, keeper=keeper, brought_at__gt=since).first()
    if upload is None or not is_steward(keeper, upload.collection, now):
        return None
    return upload


def table_of(upload: Upload) -> ListFile:
    return msgspec.json.decode(zlib.decompress(upload.table), type=ListFile)


def answers_of(upload: Upload) -> Answers:
    return msgspec.convert(upload.answers, Answers, strict=False)


def planned(upload: Upload, now: datetime) -> ImportPlan:
    """Every line of the list, beside the keeper's animals on record."""
    known = known_by_code(upload.keeper_id, now)
    plan = plan_of(table_of(upload), answers_of(upload), known, now.date())
    there = registered(upload, [one.draft for one in plan.lines if one.draft])
    lines = (_as_here(one) if one.draft in there else one for one in plan.lines)
    return replace(plan, lines=tuple(lines))


def _as_here(line: ListLine) -> ListLine:
    return replace(line, state="here", why="On record already.")


def registered(upload: Upload, drafts: Sequence[ListedAnimal]) -> set[ListedAnimal]:
    """Those that are on record by the id that the list gives them: an animal without a code too
    is registered once."""
    ids = {UUID(its.animal): one for one, its in ids_for(upload, drafts).items()}
    found = Animal.objects.filter(pk__in=ids).order_by().values_list("pk", flat=True)
    return {ids[one] for one in found}


def ids_for(upload: Upload, drafts: Sequence[ListedAnimal]) -> dict[ListedAnimal, ContentIds]:
    """Of the collection and what the line says: whoever of its keepers brings the list, and when,
    it states the same. Nobody else can make them ahead. What was registered in error has used its
    id up: the next time it gets another."""
    found: dict[ListedAnimal, ContentIds] = {}
    left, secret = list(drafts), _secret(upload.collection_id)
    while left:
        made = {one: ContentIds(secret, str(upload.collection_id), one) for one in left}
        used = Animal.ever.filter(pk__in=[one.animal for one in made.values()], ended=IN_ERROR)
        slips = {str(one) for one in used.order_by().values_list("pk", flat=True)}
        found |= made
        left, secret = [one for one in left if made[one].animal in slips], f"{secret}+"
    return found


@lru_cache(maxsize=64)
def _secret(collection: UUID) -> str:
    return salted_hmac("imported animals", str(collection), algorithm="sha256").hexdigest()


def known_by_code(keeper: UUID, now: datetime, codes: Iterable[str] | None = None) -> ByCode:
    """Animals in collections that the keeper holds or is a partner in, by what they bear and are
    called; those with any of the ``codes`` alone. Of anybody else's nothing is told: a list would
    find out."""
    animals = Animal.objects.filter(collection__in=stewarded_ids(keeper, now))
    if codes is not None:
        marks = Identifier.objects.filter(code__in=list(codes))
        animals = animals.filter(pk__in=marks.order_by().values("animal"))
    found: defaultdict[tuple[str, str], list[KnownAnimal]] = defaultdict(list)
    for animal in animals.prefetch_related("identifiers"):
        one = _known(animal)
        for scheme, code in (*one.codes, *(("name", name) for name in (animal.name,) if name)):
            found[scheme, code.casefold()].append(one)
    return found


def _known(animal: Animal) -> KnownAnimal:
    codes = tuple((one.scheme, one.code) for one in animal.identifiers.all())
    hatched = animal.hatched.isoformat() if animal.hatched else ""
    return KnownAnimal(str(animal.pk), title_of(animal), animal.species, hatched, codes)
