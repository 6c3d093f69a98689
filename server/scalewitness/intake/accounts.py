"""Opening an account, proving its address, another password, and what ends with each.

Whoever knows a password is not yet who reads the letters. So an address is confirmed by both
together, the link in a letter and the password; and who has the letter alone sets a new password,
by which whatever the account was used for before ends.
"""

from datetime import datetime
from secrets import token_urlsafe

from allauth.account.models import EmailAddress
from django.db import transaction

from scalewitness.animals.models import Collection
from scalewitness.domain.errors import OutOfRange
from scalewitness.intake.devices import revoke_signing_devices, sign_out_everywhere
from scalewitness.intake.erasure import displace
from scalewitness.ledger.models import Entry
from scalewitness.letters import accounts as account_letters
from scalewitness.people import services
from scalewitness.people.models import UNNAMED, Keeper, Practitioner
from scalewitness.people.queries import account_of, has_verified_address, unproven_claims
from scalewitness.sign_in.services.handing_over import forget_approved
from scalewitness.sign_in.services.removing import forget_factors


def open_account(*, name: str, email: str, password: str, now: datetime, zone: str = "") -> None:
    """The same for an address that has an account already, as far as anybody can tell but who
    reads its letters. ``zone``: in which times are shown to them.

    Raises:
        OutOfRange: the password is too weak.
    """
    email = email.lower()
    services.check_password_is_strong(password, name=name, email=email)
    with transaction.atomic():
        known = account_of(email)
        made = None if known else services.sign_up_if_free(name, email, password, zone)
        if made is not None:
            account_letters.confirm_address(EmailAddress.objects.get(user=made), now)
            return
    services.take_as_long(password)
    if known := account_of(email):
        account_letters.account_exists(known, email, now)


def open_confirmed_account(*, name: str, email: str, password: str) -> bool:
    """The operator's word that the address is its owner's, as for the first account of all. An
    account that proved the address stays as it is: False. Without a ``password`` one is made that
    nobody knows, and a letter sets another.

    Raises:
        OutOfRange: the password is too weak, or an account goes by the address and never proved it.
            Its password may be a stranger's, and so it is not confirmed: a letter does that.
    """
    if known := account_of(email.lower()):
        if has_verified_address(known):
            return False
        raise OutOfRange(
            f"An account goes by {email} and never confirmed it. Ask for a new password there: the "
            "letter's link confirms it."
        )
    with transaction.atomic():
        made = services.sign_up(name=name, email=email, password=password or token_urlsafe(32))
        services.mark_proved(EmailAddress.objects.get(user=made))
    return True


def ask_for_new_password(email: str, now: datetime) -> None:
    """A letter with a link that sets one; another kind of letter where there is no account."""
    known = account_of(email.lower())
    if known is None:
        account_letters.no_account(email.lower(), now)
    else:
        account_letters.reset_password(known, email.lower(), now)


def change_password(keeper: Keeper, password: str, now: datetime, *, keep_devices: bool) -> None:
    """By the keeper, who is signed in. Every other browser is signed out, and unless they are to
    be kept every device; a letter tells."""
    with transaction.atomic():
        if not keep_devices:
            sign_out_everywhere(keeper, now)
        _set(keeper, password)
        account_letters.password_changed(keeper, now, kept=keep_devices, by_letter=False)


def is_in_question(keeper: Keeper) -> bool:
    """Whether somebody used the account for more than a name, from before addresses had to be
    confirmed: then who proves the address has to say whether that was them."""
    if has_verified_address(keeper):
        return False
    kept = (
        Entry.objects.filter(by=keeper.pk),
        Collection.objects.filter(keeper=keeper),
        Practitioner.objects.filter(named_by=keeper),
    )
    return any(rows.exists() for rows in kept)


def reset_password(
    keeper: Keeper, password: str, now: datetime, *, name: str = "", theirs: bool = True
) -> Keeper:
    """By the link in a letter, which proves the address. Every device and browser is signed out.

    An account whose address had not been confirmed may be anybody's work: it takes another
    ``name``, and nothing made with it stays but its id. One that was used for more stays as it is
    if that is said to be ``theirs``; else it is closed, its facts remain its own, and an account
    of their own takes the address.
    """
    with transaction.atomic():
        revoke_signing_devices(keeper, now)  # first: it takes the log's lock
        confirmed, question = has_verified_address(keeper), is_in_question(keeper)
        if question and not theirs:
            email = keeper.email
            displace(keeper, now)
            keeper = services.sign_up(name=name or UNNAMED, email=email, password=password)
        forget_approved(keeper)  # first: who is just fetching a token is waited for
        services.sign_out_everywhere(keeper, now)
        if not confirmed:
            forget_factors(keeper)
            if not question:
                services.start_over(keeper, name=name or UNNAMED, now=now)
            _prove(EmailAddress.objects.get(user=keeper, email=keeper.email), now)
        _set(keeper, password)
        account_letters.password_changed(keeper, now, kept=False, by_letter=True)
    return keeper


def confirm_address(address: EmailAddress, now: datetime) -> None:
    """By the link in a letter together with the account's password, or signed in to it: devices
    stay signed in, and send what they kept. Of an address beside the first the first is told,
    since a new password can be asked for there from now on."""
    with transaction.atomic():
        keeper = address.user
        if address.email != keeper.email and has_verified_address(keeper):
            account_letters.address_added(keeper, now)
        _prove(address, now)


def _prove(address: EmailAddress, now: datetime) -> None:
    """The address is its account's; another account that only claimed it is closed."""
    for claim in unproven_claims(address.email, but=address.user_id):
        forget_factors(claim)
        displace(claim, now)
    services.mark_proved(address)


def _set(keeper: Keeper, password: str) -> None:
    keeper.refresh_from_db()
    keeper.set_password(password)
    keeper.save(update_fields=["password"])
