"""Keepers, devices and grants: the writes; those of devices' keys are in `keys`."""

from datetime import datetime, timedelta
from uuid import UUID

from allauth.account.models import EmailAddress
from django.contrib.auth import authenticate
from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.db.models.functions import Coalesce
from knox.models import AuthToken
from knox.settings import knox_settings

from scalewitness.domain.erasure import ERASED_NAME, erased_address
from scalewitness.domain.errors import (
    NotFound,
    NotNow,
    OutOfRange,
    VersionStale,
    WrongCredentials,
    WrongShape,
)
from scalewitness.domain.facts import (
    DeceitFound,
    FounderNamed,
    GrantGiven,
    GrantRevoked,
    KeeperVouched,
    OnePersonFound,
)
from scalewitness.domain.moments import parse_moment
from scalewitness.ledger.services.writing import Logged
from scalewitness.people.models import (
    Deceit,
    Device,
    Founder,
    Grant,
    GrantAnimal,
    GrantEnd,
    IdempotencyKey,
    Keeper,
    NamedAsOne,
    Practitioner,
    PractitionerAddress,
    PractitionerLink,
    Voucher,
)
from scalewitness.people.queries import account_of, named
from scalewitness.people.services.keys import sign_out
from scalewitness.replica import at_primary


def sign_up(*, name: str, email: str, password: str) -> Keeper:
    """A new keeper with an address still to be verified; addresses are kept in lower case.

    Raises:
        OutOfRange: the password is too weak, or the address is taken.
    """
    check_password_is_strong(password, name=name, email=email)
    keeper = sign_up_if_free(name, email, password)
    if keeper is None:
        raise OutOfRange("This address already has an account.", pointer="/email")
    return keeper


def sign_up_if_free(name: str, email: str, password: str, zone: str = "") -> Keeper | None:
    """A new keeper with an address still to be verified; None where it has an account."""
    try:
        with transaction.atomic():
            keeper = Keeper.objects.create_user(email.lower(), password, name=name, time_zone=zone)
            EmailAddress.objects.create(
                user=keeper, email=keeper.email, primary=True, verified=False
            )
    except IntegrityError:
        return None
    return keeper


def check_password_is_strong(password: str, *, name: str, email: str) -> None:
    """
    Raises:
        OutOfRange: it is too short, common, or like the name or the address.
    """
    try:
        validate_password(password, Keeper(name=name, email=email))
    except ValidationError as weak:
        raise OutOfRange(" ".join(weak.messages), pointer="/password") from None


def take_as_long(password: str) -> None:
    """As long as making an account with it would, so that time does not tell whether there is
    one already."""
    make_password(password)


def mark_proved(address: EmailAddress) -> None:
    """Letters reached its keeper there. It becomes the first where the first is not proved."""
    address.set_verified()
    first = EmailAddress.objects.get_primary(address.user)
    if first is None or not first.verified:
        address.set_as_primary()


def start_over(keeper: Keeper, *, name: str, now: datetime) -> None:
    """An account that somebody made and nobody used becomes another person's: its name and
    devices, and addresses that were added to it, were never theirs."""
    Device.objects.filter(keeper=keeper).delete()
    EmailAddress.objects.filter(user=keeper).exclude(email=keeper.email).delete()
    rename(keeper, name=name, version=Keeper.objects.get(pk=keeper.pk).version, now=now)


def vouch(email: str) -> bool:
    """The operator vouches for an address known in person, as that of the account which goes by
    it; False when none does."""
    keeper = account_of(email.lower())
    if keeper is None:
        return False
    own = EmailAddress.objects.filter(user=keeper, email=email.lower())
    return bool(own.update(verified=True))


def want_digest(keeper: Keeper, *, wanted: bool) -> None:
    """Whether the weekly letter of what waits is wanted."""
    Keeper.objects.filter(pk=keeper.pk).update(digest=wanted)


def choose_habits(keeper: Keeper, **chosen: str) -> None:
    """How times, days and weights are written for them: ``time_zone``, ``day_style``,
    ``weight_unit``. Those not named stay."""
    Keeper.objects.filter(pk=keeper.pk).update(**chosen)


def rename(keeper: Keeper, *, name: str, version: int, now: datetime) -> Keeper:
    """Edit the profile under its version.

    Raises:
        VersionStale: someone edited it since.
    """
    with transaction.atomic():
        current = Keeper.objects.select_for_update().get(pk=keeper.pk)
        if current.version != version:
            raise VersionStale()
        current.name = name
        current.version += 1
        current._history_user = keeper
        current._history_date = now
        current.save()
    return current


def keeper_signing_in(email: str, password: str) -> Keeper:
    """The keeper with this address and password.

    Raises:
        WrongCredentials: no such keeper, or another password; it takes equally long.
    """
    if "\x00" in email:  # PostgreSQL cannot even look for it
        raise WrongCredentials()
    keeper = authenticate(None, email=email, password=password)
    if not isinstance(keeper, Keeper):
        raise WrongCredentials()
    return keeper


def fact_for_key(sender: UUID, key: str, fresh: UUID, now: datetime) -> tuple[UUID, datetime]:
    """The fact that a sender's Idempotency-Key stands for: ``fresh`` the first time, the
    same one ever after, with the time the key was first used."""
    kept, _ = IdempotencyKey.objects.get_or_create(
        sender=sender, key=key, defaults={"fact": fresh, "first_used_at": now}
    )
    return kept.fact, kept.first_used_at


def enrol_device(keeper: Keeper, name: str, now: datetime) -> tuple[Device, str]:
    """A device and its token. The token is shown once; only its hash is kept."""
    with transaction.atomic():
        token, secret = AuthToken.objects.create(keeper)
        device = Device.objects.create(keeper=keeper, name=name, token=token, enrolled_at=now)
    return device, secret


def token_used(token: AuthToken, now: datetime) -> None:
    """Its end is put off, at most once a day."""
    ends = now + knox_settings.TOKEN_TTL
    if ends - token.expiry > timedelta(days=1):
        at_primary()
        AuthToken.objects.filter(pk=token.pk).update(expiry=ends)


def revoke_device(keeper: Keeper, device_id: UUID, now: datetime) -> None:
    """Its token stops working at once. For a device without a key: one with a key is revoked
    by a fact.

    Raises:
        NotFound: not a device of this keeper.
    """
    with transaction.atomic():
        device = Device.objects.select_for_update().filter(pk=device_id, keeper=keeper).first()
        if device is None:
            raise NotFound()
        sign_out(device, now)


def sign_out_everywhere(keeper: Keeper, now: datetime) -> int:
    """Every device's token stops working and every browser is signed out; how many devices
    that were. Keys end by facts."""
    with transaction.atomic():
        Keeper.objects.filter(pk=keeper.pk).update(sign_outs=F("sign_outs") + 1)
        # A browser signs without a token; a recovery key is signed in nowhere.
        signs = Q(token__isnull=False) | Q(key__recovery=False)
        devices = Device.objects.filter(signs, keeper=keeper, revoked_at=None)
        ended = devices.update(token=None, revoked_at=Coalesce("revoked_at", now))
        AuthToken.objects.filter(user=keeper).delete()
    return ended


def name_practitioner(keeper: Keeper, practitioner: UUID, name: str) -> Practitioner:
    """Name a veterinarian, laboratory or earlier keeper before reporting their call.

    Repeating it with the same id and name changes nothing.

    Raises:
        WrongShape: the id already names someone else, a keeper among them.
    """
    if Keeper.objects.filter(pk=practitioner).exists():
        raise WrongShape("This id already stands for someone else.", pointer="/id")
    found, _ = Practitioner.objects.get_or_create(
        pk=practitioner, defaults={"named_by": keeper, "name": name}
    )
    if found.name != name or found.named_by_id != keeper.pk:
        raise WrongShape("This id already stands for someone else.", pointer="/id")
    return found


def enter_address(
    practitioner: Practitioner, email: str, address: UUID, now: datetime, by: Keeper | None = None
) -> PractitionerAddress:
    """Where to ask a practitioner. ``by`` None: the operator, from what the practice publishes;
    then links sent to an earlier address stop working."""
    if by is None:
        links = PractitionerLink.objects.filter(address__practitioner=practitioner, revoked_at=None)
        links.update(revoked_at=now)
    return PractitionerAddress.objects.create(
        id=address, practitioner=practitioner, email=email.lower(), entered_by=by, at=now
    )


def open_practitioner_link(
    address: PractitionerAddress, link: UUID, upto: int, now: datetime, lasts: timedelta
) -> PractitionerLink:
    return PractitionerLink.objects.create(
        id=link, address=address, upto=upto, made_at=now, expires_at=now + lasts
    )


def forget_practitioner(practitioner: Practitioner) -> None:
    """The id stays, as the log has it; the name and where they could be asked go."""
    PractitionerAddress.objects.filter(practitioner=practitioner).delete()
    practitioner.name = ERASED_NAME
    practitioner.save(update_fields=["name"])


def close_account(keeper: Keeper, now: datetime) -> None:
    """Name and address go, nobody can sign in any more, every device is signed out. The id
    stays: what the keeper said is still somebody's. Doing it twice changes nothing."""
    with transaction.atomic():
        current = Keeper.objects.select_for_update().get(pk=keeper.pk)
        if not current.is_active:
            return
        AuthToken.objects.filter(user=current).delete()
        devices = Device.objects.filter(keeper=current)
        devices.filter(revoked_at=None).update(revoked_at=now)
        devices.update(name="a device", token=None)
        EmailAddress.objects.filter(user=current).delete()
        current.name, current.email = ERASED_NAME, erased_address(current.pk)
        current.is_active = False
        current.time_zone = current.day_style = current.weight_unit = ""
        current.set_unusable_password()
        current.version += 1
        current._history_user = None
        current._history_date = now
        current.save()


def store_one_person(fact: Logged[OnePersonFound], first: UUID, second: UUID) -> NamedAsOne:
    return NamedAsOne.objects.create(
        id=fact.id,
        position=fact.position,
        animal=fact.about,
        finding=UUID(fact.body.finding),
        accounts=fact.body.accounts,
        first_id=first,
        second_id=second,
        at=fact.at,
    )


def object_to_being_one(keeper: UUID, named_as: UUID, now: datetime) -> NamedAsOne:
    """One of both says that they are two people.

    Raises:
        NotFound: they are not named there.
        NotNow: one of both has objected, or it does not hold any more.
    """
    found = named(keeper).filter(pk=named_as)
    if not found.exists():
        raise NotFound()
    if not found.filter(objected_at=None, lifted_at=None).update(objected_at=now):
        raise NotNow("One of both accounts has objected already, or it does not hold any more.")
    return found.get()


def store_voucher(fact: Logged[KeeperVouched]) -> None:
    Voucher.objects.create(
        id=fact.id,
        position=fact.position,
        by_id=fact.sender,
        keeper_id=fact.about,
        vouches=fact.body.vouches,
        practice=fact.body.practice or "",
        at=fact.at,
    )


def store_founder(fact: Logged[FounderNamed]) -> None:
    Founder.objects.create(keeper_id=fact.about, position=fact.position)


def store_deceit(fact: Logged[DeceitFound]) -> None:
    finding = UUID(fact.body.finding)
    Deceit.objects.create(id=fact.id, position=fact.position, keeper_id=fact.about, finding=finding)


def store_grant(fact: Logged[GrantGiven]) -> Grant:
    body = fact.body
    return _grant(
        Grant(
            id=fact.id,
            position=fact.position,
            collection=fact.about,
            to_id=UUID(body.to),
            role=body.role,
            whole=body.animals is None,
            opens=min(fact.at, fact.received_at),
            closes=parse_moment(body.until) if body.until else None,
        ),
        [UUID(animal) for animal in body.animals or ()],
    )


def store_guest_grant(
    *,
    visit: UUID,
    position: int,
    collection: UUID,
    guest: UUID,
    animals: list[UUID],
    blind: bool,
    opens: datetime,
    closes: datetime,
) -> Grant:
    """What an accepted visit lets its guest see; the grant carries the visit's id."""
    return _grant(
        Grant(
            id=visit,
            position=position,
            collection=collection,
            to_id=guest,
            role=Grant.Role.GUEST,
            whole=False,
            blind=blind,
            opens=opens,
            closes=closes,
        ),
        animals,
    )


def _grant(grant: Grant, animals: list[UUID]) -> Grant:
    grant.save(force_insert=True)
    GrantAnimal.objects.bulk_create(GrantAnimal(grant=grant, animal=animal) for animal in animals)
    return grant


def end_grant(grant: UUID, position: int, at: datetime) -> None:
    GrantEnd.objects.create(grant_id=grant, position=position, at=at)


def store_revocation(fact: Logged[GrantRevoked]) -> None:
    end_grant(UUID(fact.body.grant), fact.position, fact.received_at)
