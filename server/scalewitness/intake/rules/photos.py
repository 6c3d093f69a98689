"""Photos: attached by whoever keeps the animal, or to a call by whoever made it."""

from datetime import datetime
from hashlib import sha256
from typing import cast
from uuid import UUID

from scalewitness.animals import services
from scalewitness.animals.models import Photo
from scalewitness.animals.queries import animal_of, is_steward, photo_of
from scalewitness.animals.services.photo_files import store_photo_file
from scalewitness.calls.models import HeldCall
from scalewitness.calls.queries.held import grant_of, own_held_call, photos_held_with
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotAllowed, NotFound, NotTheFile, OutOfRange
from scalewitness.domain.facts import PhotoAttached
from scalewitness.domain.pictures.plain import NotPlain
from scalewitness.domain.pictures.reencoding import check_decodable
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.heavy_work import DECODING
from scalewitness.intake.rules.late import hold, released, sender_of
from scalewitness.intake.submission import Sealed

MOST_OF_A_CALL = 6
"""Left and right, as it lay, and some to spare (our judgement)."""
MOST_OF_AN_ANIMAL = 100
"""Besides those of calls; some five a year for the longest life in captivity (our judgement)."""


def photo_attached(fact: Sealed, batch: Batch) -> int | None:
    """What shows a call that waits for the host waits with it; the file is sent once it is in."""
    animal = animal_of(fact.about)
    if animal is None:
        raise NotFound()
    body = cast(PhotoAttached, fact.body)
    others, held = Photo.objects.filter(animal=animal), None
    if body.of is not None:
        held = _own_call_held(UUID(body.of), fact.about, batch)
        others, most = others.filter(call=UUID(body.of)), MOST_OF_A_CALL
    else:
        if not is_steward(batch.actor.keeper, animal.collection, batch.now):
            raise NotFound()
        others, most = others.filter(call=None), MOST_OF_AN_ANIMAL
    if others.count() + (len(photos_held_with(held)) if held else 0) >= most:
        raise OutOfRange(f"There are {most} photos of it, which is the most.", pointer="/body/of")
    if held is not None:
        hold(fact, animal, grant_of(held), batch)
        return None
    logged = batch.log(fact)
    services.store_photo(logged)
    return logged.position


def _own_call_held(call: UUID, animal: UUID, batch: Batch) -> HeldCall | None:
    """None where it is on record. Also after the visit, as the call itself: the photo was taken
    with it.

    Raises:
        NotFound: they made no such call.
        NotAllowed: the host did not admit it.
    """
    keeper = batch.actor.keeper
    found = call_of(call)
    if found is not None and found.animal_id == animal and found.by == keeper:
        return None
    held = own_held_call(keeper, call) if keeper else None
    if held is None or held.animal_id != animal:
        raise NotFound()
    if hasattr(held, "decision"):
        raise NotAllowed("The host did not admit the call it shows.")
    return held


def admit_photos(call: HeldCall, batch: Batch) -> None:
    """What shows an admitted call enters before it, as what was noted with it does."""
    for held in photos_held_with(call):
        logged = batch.log(released(held), sender=sender_of(held))
        services.store_photo(logged)


def take_photo_file(photo: UUID, data: bytes, actor: Actor, now: datetime) -> None:
    """Keep the file of a photo whose fact is in the log; the same again changes nothing.

    Raises:
        NotFound: the actor attached no such photo.
        NotTheFile: it is another file than the fact says, or more than a plain picture.
        Busy: too many pictures at once.
    """
    found = _own_photo(photo, data, actor)
    try:
        with DECODING.turn(actor.keeper):
            check_decodable(data)
    except NotPlain as fault:
        raise NotTheFile(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None
    store_photo_file(found, data, now)


def keep_reencoded_file(photo: UUID, data: bytes, actor: Actor, now: datetime) -> None:
    """The same of a file that was re-encoded here, which need not be decoded once more.

    Raises:
        NotFound, NotTheFile: as above.
    """
    store_photo_file(_own_photo(photo, data, actor), data, now)


def _own_photo(photo: UUID, data: bytes, actor: Actor) -> Photo:
    found = photo_of(photo)
    if found is None or found.by != actor.keeper:
        raise NotFound()
    if len(data) != found.size or sha256(data).hexdigest() != found.sha256:
        raise NotTheFile("The record holds another file's fingerprint for this photo.")
    return found
