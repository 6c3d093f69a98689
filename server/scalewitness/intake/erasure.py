"""Erasing personal data, everywhere it is kept. The log keeps ids and commitments only, so
every proof, receipt and standing holds as before.

That something was erased is a fact of the record's own: what kind of thing, by whose wish, and of
whom or what. Without one, whatever is gone was suppressed, and ``fsck`` names it.

What someone is still owed comes first: an address to which a disclosure must go stays until
the disclosure is acknowledged, and nobody leaves in the middle of a sale.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from scalewitness.animals.models import Photo
from scalewitness.animals.services.photo_files import erase_photo_files
from scalewitness.books.services import forget_lines
from scalewitness.calls.models import HeldCall
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.erasure import ERASED_NAME, erased_address
from scalewitness.domain.errors import NotFound, NotNow
from scalewitness.domain.facts import DataErased
from scalewitness.domain.sales import UNPAID, State
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.devices import revoke_signing_devices
from scalewitness.intake.reassessing import RECORD
from scalewitness.ledger.models import Entry, Text
from scalewitness.ledger.queries.entries import entry_of
from scalewitness.ledger.services.writing import erase_text
from scalewitness.mail.models import UNSENT
from scalewitness.mail.queries import letters_for
from scalewitness.mail.services import queueing as mail
from scalewitness.people import services as people
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.sales.models import Buyer, Sale
from scalewitness.sales.queries import progress_of
from scalewitness.sales.services import forget_buyer
from scalewitness.sign_in.services.codes import check_fresh
from scalewitness.sign_in.services.removing import forget_factors
from scalewitness.visits.models import Visit
from scalewitness.visits.services import forget_invitations_of

Wish = Literal["author", "operator", "record"]
"""Whose: of whoever wrote it or is called so, the operator's, or a rule's of the record."""
GOING_ON: frozenset[State] = UNPAID | {"paid"}
"""Both sides still wait for something."""


def erase_own_texts(fact: UUID, actor: Actor, now: datetime) -> int:
    """Erase the free text of a fact, or a photo's file, as its author asks; how many there
    still were.

    Raises:
        NotFound: the actor stated no such fact.
        SecondFactorNotFresh: they have a second factor and did not give it just now.
    """
    entry = entry_of(fact)
    held = HeldCall.objects.filter(pk=fact).first() if entry is None else None
    author = entry.by if entry else held.by if held else None
    if author is None or author != actor.by:
        raise NotFound()
    if actor.keeper is not None:
        check_fresh(actor.keeper, given=actor.proved, path=f"/texts/{fact}/erasure")
    return erase_texts_of(fact, now, wish="author")


def erase_texts_of(fact: UUID, now: datetime, wish: Wish) -> int:
    """Erase the free text of a fact, or a photo's file; how many there still were."""
    with transaction.atomic():
        batch = Batch(RECORD, now)  # first: it takes the log's lock
        forget_lines("texts", [fact])
        forget_lines("files of photos", [fact])
        texts = erase_text(fact)
        files = erase_photo_files(Photo.objects.filter(pk=fact), now)
        if texts:
            batch.state("data_erased", fact, DataErased(what="text", wish=wish))
        if files:
            batch.state("data_erased", fact, DataErased(what="photo", wish=wish))
        batch.flush()
    return texts + files


def erase_texts_by(person: UUID, now: datetime, wish: Wish, about: UUID | None = None) -> int:
    """Erase every text that one person wrote and every photo they attached, or only those
    about one thing."""
    stated = Entry.objects.filter(by=person)
    if about is not None:
        stated = stated.filter(about=about)
    held = HeldCall.objects.filter(by=person)
    mine = Q(fact__in=stated.values("fact")) | Q(fact__in=held.values("pk"))
    with transaction.atomic():
        batch = Batch(RECORD, now)  # first: it takes the log's lock
        gone = Text.objects.filter(mine)
        photos = Photo.objects.filter(pk__in=stated.values("fact"))
        forget_lines("texts", gone.values_list("fact", flat=True))
        forget_lines("files of photos", photos.values_list("pk", flat=True))
        deleted = gone.delete()[0] + erase_photo_files(photos, now)
        if deleted:
            of = str(about) if about else None
            body = DataErased(what="all_they_wrote", wish=wish, of=of)
            batch.state("data_erased", person, body)
        batch.flush()
    return deleted


def _state_names_gone(people: QuerySet[Any], now: datetime, wish: Wish) -> None:
    """Of those who still have one. Called before any row is locked: it takes the log's lock."""
    batch = Batch(RECORD, now)
    for one in people.exclude(name=ERASED_NAME).values_list("pk", flat=True):
        batch.state("data_erased", one, DataErased(what="name", wish=wish))
    batch.flush()


def erase_practitioner(practitioner: Practitioner, now: datetime, wish: Wish) -> None:
    """Their name, where they could be asked, and what letters say of them."""
    with transaction.atomic():
        _state_names_gone(Practitioner.objects.filter(pk=practitioner.pk), now, wish)
        people.forget_practitioner(practitioner)
        forget_lines("names of practices", [practitioner.pk])
        mail.forget_recipient(practitioner.pk, erased_address(practitioner.pk))
        mail.reword(Q(recipient=practitioner.pk), {"to_name": ERASED_NAME})


def erase_buyers(buyers: Iterable[Buyer], now: datetime, wish: Wish) -> int:
    """Erase a person's name and address from each of their purchases; how many there were.

    Raises:
        NotNow: a purchase is still going on, or a disclosure owed to them still open.
    """
    with transaction.atomic():
        wanted = [one.pk for one in buyers]
        _state_names_gone(Buyer.objects.filter(pk__in=wanted), now, wish)
        locked = list(Buyer.objects.select_for_update().filter(pk__in=wanted))
        for buyer in locked:
            _check_owed(buyer)
        for buyer in locked:
            _forget(buyer)
    return len(locked)


def _check_owed(buyer: Buyer) -> None:
    _check_over(buyer.purchases.all())
    if Disclosure.objects.filter(to=buyer, acknowledgement=None).exists():
        raise NotNow(
            "A disclosure owed to this address is still open. Once it is acknowledged, the "
            "address can be erased."
        )


def _check_over(sales: Iterable[Sale]) -> None:
    for sale in sales:
        if progress_of(sale).state in GOING_ON:
            raise NotNow(f"Sale {sale.pk} is still going on. End it first, or hand over.")


def _forget(buyer: Buyer) -> None:
    forget_buyer(buyer)
    forget_lines("names of buyers", [buyer.pk])
    mail.forget_recipient(buyer.pk, erased_address(buyer.pk))
    mail.reword(Q(recipient=buyer.pk), {"to_name": ERASED_NAME})
    sales = [str(sale) for sale in buyer.purchases.values_list("pk", flat=True)]
    mail.reword(Q(context__sale__in=sales), {"buyer_name": ERASED_NAME})


def close_account(
    keeper: Keeper, now: datetime, *, wish: Wish = "author", texts: bool = False
) -> None:
    """Close an account and erase name and address everywhere; ``texts``: all they wrote too.

    Raises:
        NotNow: they sell or buy something still, a disclosure to them is open, or one about
            an animal they sold has not gone out yet and names them as the one to turn to.
    """
    with transaction.atomic():
        revoke_signing_devices(keeper, now)  # first: it takes the log's lock
        sold = Sale.objects.filter(collection__keeper=keeper).prefetch_related("steps")
        _check_over(sold)
        _check_disclosed(sold)
        erase_buyers(Buyer.objects.filter(keeper=keeper), now, wish)
        _state_names_gone(Keeper.objects.filter(pk=keeper.pk), now, wish)
        forget_factors(keeper)  # first: who is just fetching a token is waited for
        forget_invitations_of(keeper)
        people.close_account(keeper, now)
        forget_lines("names of keepers", [keeper.pk])
        _forget_in_letters(keeper, sold)
        if texts:
            erase_texts_by(keeper.pk, now, wish)


def displace(keeper: Keeper, now: datetime) -> None:
    """Close an account that went by an address which its owner has proved to be theirs. Nothing
    that is still owed keeps it: no letter to that address was ever for whoever made it."""
    with transaction.atomic():
        revoke_signing_devices(keeper, now)  # first: it takes the log's lock
        _state_names_gone(Keeper.objects.filter(pk=keeper.pk), now, "record")
        forget_factors(keeper)
        forget_invitations_of(keeper)
        people.close_account(keeper, now)
        forget_lines("names of keepers", [keeper.pk])
        _forget_in_letters(keeper, Sale.objects.filter(collection__keeper=keeper))


def _check_disclosed(sold: Iterable[Sale]) -> None:
    owed = Disclosure.objects.filter(sale__in=[sale.pk for sale in sold])
    letters = letters_for(owed.values_list("pk", flat=True))
    if any(letter.state in UNSENT for about in letters.values() for letter in about):
        raise NotNow("A disclosure that names this address has not gone out yet.")


def _forget_in_letters(keeper: Keeper, sold: Iterable[Sale]) -> None:
    address = erased_address(keeper.pk)
    mail.forget_recipient(keeper.pk, address)
    mail.reword(Q(recipient=keeper.pk), {"to_name": ERASED_NAME, "device": "a device"})
    mail.forget_sender(keeper.pk, ERASED_NAME)
    seller = {"seller_name": ERASED_NAME, "seller_email": address}
    mail.reword(Q(context__sale__in=[str(sale.pk) for sale in sold]), seller)
    visits = Visit.objects.filter(host=keeper).values_list("pk", flat=True)
    mail.reword(Q(context__visit__in=[str(one) for one in visits]), {"host_name": ERASED_NAME})
    mail.reword(Q(context__host=str(keeper.pk)), {"host_name": ERASED_NAME})
    mail.reword(Q(context__guest=str(keeper.pk)), {"guest_name": ERASED_NAME})
