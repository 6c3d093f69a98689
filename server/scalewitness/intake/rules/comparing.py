"""Photos laid side by side: whether a check was of the animal that it was filed on."""

from collections.abc import Iterable
from typing import cast
from uuid import UUID

from scalewitness.animals.models import Photo
from scalewitness.animals.queries import photo_of
from scalewitness.animals.queries.photo_files import has_photo_file
from scalewitness.calls import services
from scalewitness.calls.models import Call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import PhotosCompared
from scalewitness.domain.photos_compared import after_comparisons
from scalewitness.domain.sexing.evidence import Compared
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.reports import check_apart
from scalewitness.intake.submission import Sealed
from scalewitness.letters.reports import notify_of_comparison


def photos_compared(fact: Sealed, batch: Batch) -> int:
    """By somebody who sees the animal whole, has no share in it and did not send the call; who
    may think again. Those concerned hear of another animal, and of whoever thought again."""
    body = cast(PhotosCompared, fact.body)
    if batch.actor.keeper is None:
        raise NotFound()
    animal_open(batch.actor.keeper, fact.about, batch.now)
    call = call_of(UUID(body.call))
    if call is None or call.animal_id != fact.about:
        raise NotFound()
    check_apart(call, batch.actor.keeper, batch)
    _check_comparable(call)
    _check_photos(call, body)
    answers = _answers_of(call)
    before = dict(answers).get(batch.actor.keeper)
    if before == body.answer:
        raise NotNow("You have said so already.")
    logged = batch.log(fact)
    stands = after_comparisons([*answers, (batch.actor.keeper, body.answer)])
    services.store_comparison(logged, cast(Compared, stands))
    batch.touch(call.animal_id, fact.id, fact.kind)
    if body.answer == "another" or before is not None:
        notify_of_comparison(call, fact.id, body.answer, batch.letters)
    return logged.position


def pairs_of(call: Call, photos: Iterable[Photo]) -> tuple[list[Photo], list[Photo]] | None:
    """Of these photos those of the check, and those it may be compared with; None where there is
    nothing to compare, or nothing that photos could tell."""
    listed = list(photos)
    own = [one for one in listed if one.call == call.pk]
    earlier = [one for one in listed if is_earlier(one, call)]
    comparable = not call.over and not _read_more(call)
    return (own, earlier) if comparable and own and earlier else None


def _read_more(call: Call) -> bool:
    return bool(call.body["identified"]["by"] == "transponder")


def _check_comparable(call: Call) -> None:
    if call.over:
        raise NotNow("This call no longer counts.")
    if _read_more(call):
        raise NotNow("A transponder was read at this check; it tells more than a photo.")


def _check_photos(call: Call, body: PhotosCompared) -> None:
    """One of the check, and one that the record had before: nobody proves a check by a picture
    taken for it."""
    photo, earlier = photo_of(UUID(body.photo)), photo_of(UUID(body.earlier))
    if photo is None or photo.call != call.pk:
        raise OutOfRange("It is no photo of this check.", pointer="/body/photo")
    if not is_earlier(earlier, call):
        raise OutOfRange("No such photo was on record before.", pointer="/body/earlier")
    if not (has_photo_file(photo.pk) and has_photo_file(UUID(body.earlier))):
        raise NotNow("A photo has not arrived yet, or was erased.")


def is_earlier(photo: Photo | None, call: Call) -> bool:
    """Whether it is of the animal, and was on record before the call."""
    return (
        photo is not None
        and photo.animal_id == call.animal_id
        and photo.call != call.pk
        and photo.position < call.position
    )


def _answers_of(call: Call) -> list[tuple[UUID, Compared]]:
    made = call.comparisons.order_by("position").values_list("by", "answer")
    return [(by, cast(Compared, answer)) for by, answer in made]
