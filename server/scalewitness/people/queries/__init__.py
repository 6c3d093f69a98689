"""Who holds which grant, and who is who. Names leave this app only for people's eyes."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, tzinfo
from typing import Any, NamedTuple, cast
from uuid import UUID
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from allauth.account.models import EmailAddress
from django.conf import settings
from django.core.signing import BadSignature
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from scalewitness.domain.errors import LinkGone
from scalewitness.domain.habits import (
    DAY_STYLES,
    WEIGHT_UNITS,
    DayStyle,
    Habits,
    WeightUnit,
)
from scalewitness.ledger.queries.prepared import Prepared, any_of
from scalewitness.mail.services.links import link_of
from scalewitness.people.models import (
    Deceit,
    Device,
    DeviceKey,
    Grant,
    GrantAnimal,
    GrantEnd,
    Keeper,
    NamedAsOne,
    Practitioner,
    PractitionerAddress,
    PractitionerLink,
    SharedKey,
    Voucher,
)


def covering(
    grants: QuerySet[Grant], animal: str = "pk", collection: str = "collection_id"
) -> QuerySet[Grant]:
    """Of ``grants``, those that cover the animal of an outer query over animals, which is in
    the outer query's ``collection``.

    A part grant holds only while the animal stays in the collection it was given for.
    """
    named = GrantAnimal.objects.filter(grant=OuterRef("pk"), animal=OuterRef(OuterRef(animal)))
    return grants.filter(collection=OuterRef(collection)).filter(Q(whole=True) | Exists(named))


def grants_on(keeper: UUID, collection: UUID, animal: UUID) -> list[Grant]:
    """Every grant, past ones too, that ever covered this animal for this keeper."""
    return grants_ever(keeper, {animal: [collection]})[animal]


def grants_ever(keeper: UUID, homes: Mapping[UUID, Iterable[UUID]]) -> dict[UUID, list[Grant]]:
    """Every grant, past ones too, that ever covered these animals for this keeper. ``homes``:
    by animal, the collections it is or was in; its grants come in that order, of one
    collection as they were given."""
    inside = {collection for collections in homes.values() for collection in collections}
    given: dict[UUID, list[Grant]] = {}
    rows = Grant.objects.filter(to=keeper, collection__in=inside).select_related("end")
    for grant in rows.order_by("position"):
        given.setdefault(grant.collection, []).append(grant)
    parts = [grant.pk for grants in given.values() for grant in grants if not grant.whole]
    named: set[tuple[UUID, UUID]] = set()
    if parts:
        rows_named = GrantAnimal.objects.filter(grant__in=parts, animal__in=list(homes))
        named = set(rows_named.values_list("grant", "animal"))
    return {
        animal: [
            grant
            for collection in collections
            for grant in given.get(collection, ())
            if grant.whole or (grant.pk, animal) in named
        ]
        for animal, collections in homes.items()
    }


def names_of(ids: Iterable[UUID]) -> dict[UUID, str]:
    """Display names of keepers and practitioners, for people who may see the calls."""
    wanted = set(ids)
    names: dict[UUID, str] = dict(NAMES.ask(people=list(wanted)))
    return {person: name or "a keeper whose name was erased" for person, name in names.items()}


def _names(people: Any) -> QuerySet[Any, Any]:
    keepers = any_of(Keeper.objects.all(), '"people_keeper"."id"', people)
    others = any_of(Practitioner.objects.all(), '"people_practitioner"."id"', people)
    found: QuerySet[Any, Any] = keepers.order_by().values_list("pk", "name")
    return found.union(others.order_by().values_list("pk", "name"), all=True)


NAMES = Prepared(_names, people=(UUID(int=1),))


def verified_keeper(email: str) -> Keeper | None:
    """The keeper who proved to own this address; an unproven claim finds nobody."""
    address = EmailAddress.objects.filter(email__iexact=email, verified=True).first()
    return Keeper.objects.filter(pk=address.user_id, is_active=True).first() if address else None


def account_of(email: str) -> Keeper | None:
    """The account that signs in with this address, in lower case: of whoever proved it, else of
    whoever claimed it as the only address they have. An address added to an account and not
    proved yet belongs to nobody."""
    found = verified_keeper(email)
    return found or Keeper.objects.filter(email=email, is_active=True).first()


def unproven_claims(email: str, *, but: UUID) -> QuerySet[Keeper]:
    """Accounts that go by this address, all ``but`` that of its owner."""
    return Keeper.objects.filter(email=email).exclude(pk=but)


def has_verified_address(keeper: Keeper) -> bool:
    return bool(CONFIRMED.ask(keeper=keeper.pk))


def confirmed_emails(keeper: UUID) -> list[str]:
    """Every address that the keeper proved to be theirs, in lower case."""
    own = EmailAddress.objects.filter(user=keeper, verified=True)
    return [one.lower() for one in own.values_list("email", flat=True)]


def confirmed_addresses(keeper: Any) -> QuerySet[Any]:
    """The keeper's own address, if they proved that it is theirs; ``keeper`` may be of an outer
    query. Another proven address of theirs does not prove this one."""
    addresses = EmailAddress.objects.filter(user=keeper, verified=True)
    own: QuerySet[Any] = addresses.filter(email=F("user__email"))
    return own


def _confirmed(keeper: UUID) -> QuerySet[Any, Any]:
    return confirmed_addresses(keeper).values_list("pk")


CONFIRMED = Prepared(_confirmed, keeper=UUID(int=1))


def devices_of(keeper: Keeper) -> QuerySet[Device]:
    found = Device.objects.filter(keeper=keeper).select_related("key__end")
    return found.order_by("-enrolled_at")


def idle_devices(now: datetime) -> QuerySet[Device]:
    """Those whose token has ended as nobody used it."""
    return Device.objects.filter(token__expiry__lte=now).select_related("keeper", "key__end")


def devices_with_a_lasting_key() -> QuerySet[Device]:
    """Those that were signed out while the log took no fact of it."""
    lasting = Device.objects.exclude(revoked_at=None).filter(key__isnull=False, key__end=None)
    return lasting.select_related("keeper", "key__end")


def device_of(keeper: UUID | None, device: UUID | None) -> Device | None:
    """The device, if it is this keeper's."""
    if keeper is None or device is None:
        return None
    found = Device.objects.filter(pk=device, keeper=keeper).select_related("key__end")
    return found.first()


class SigningKey(NamedTuple):
    """``public``: 32 bytes. ``recovery``: it stands on paper, and signs little."""

    public: bytes
    recovery: bool


def signing_key(keeper: UUID | None, device: UUID | None) -> SigningKey | None:
    """The key whose signatures are taken from this keeper on this device; None: none are."""
    found = device_of(keeper, device)
    if found is None or found.revoked_at is not None or not hasattr(found, "key"):
        return None
    if hasattr(found.key, "end"):
        return None
    return SigningKey(bytes.fromhex(found.key.public), found.key.recovery)


def is_device(id: UUID) -> bool:
    """Whether it stands for anybody's device, or for a key on paper."""
    return Device.objects.filter(pk=id).exists()


def recovery_key_of(keeper: UUID, id: UUID) -> Device | None:
    """The keeper's key on paper that goes by this id, ended or not."""
    found = device_of(keeper, id)
    return found if found and hasattr(found, "key") and found.key.recovery else None


def holder_of(key: str) -> UUID | None:
    """Whose device, revoked or not, holds this public key (hex)."""
    held = DeviceKey.objects.filter(public=key).values_list("device__keeper", flat=True)
    return held.first()


def same_person_as(keeper: UUID | None) -> set[UUID]:
    """The other accounts that count as one examiner with this: they shared a device's key, or each
    did with a third."""
    found, new = set[UUID](), {keeper} if keeper else set()
    while new:
        found |= new
        pairs = [pair for one in new for pair in SHARED.ask(keeper=one)]
        new = {one for pair in pairs for one in pair} - found
    return found - {keeper}


def _shared(keeper: UUID) -> "QuerySet[SharedKey, tuple[UUID, UUID]]":
    either = Q(first=keeper) | Q(second=keeper)
    return SharedKey.objects.filter(either, lifted_at=None).values_list("first", "second")


SHARED = Prepared(_shared, keeper=UUID(int=1))


def named_with(keeper: UUID | None) -> dict[UUID, set[UUID]]:
    """By animal, the other accounts that count as one with this since a finding named them."""
    found: dict[UUID, set[UUID]] = {}
    for animal, *both in NAMED.ask(keeper=keeper) if keeper else ():
        found.setdefault(animal, set()).update(set(both) - {keeper})
    return found


def _named(keeper: UUID) -> "QuerySet[NamedAsOne, tuple[UUID, UUID, UUID]]":
    counting = named(keeper).filter(lifted_at=None).exclude(counts_from=None)
    return counting.values_list("animal", "first", "second")


def named(keeper: UUID) -> QuerySet[NamedAsOne]:
    """Where a finding names the account as one with another, newest first."""
    either = Q(first=keeper) | Q(second=keeper)
    return NamedAsOne.objects.filter(either).order_by("-position")


NAMED = Prepared(_named, keeper=UUID(int=1))


def keeper_of(keeper: UUID) -> Keeper | None:
    return Keeper.objects.filter(pk=keeper, is_active=True).first()


def habits_of(keeper: Keeper | None) -> Habits:
    """How times, days and weights are written for them; for anyone else, as the record does."""
    zone = _zone_of(keeper)
    if keeper is None:
        return Habits(zone)
    days = cast(DayStyle, keeper.day_style if keeper.day_style in DAY_STYLES else "")
    weights = cast(WeightUnit, keeper.weight_unit if keeper.weight_unit in WEIGHT_UNITS else "")
    return Habits(zone, days, weights)


def _zone_of(keeper: Keeper | None) -> tzinfo:
    name = (keeper.time_zone if keeper else "") or settings.LOCAL_TIME_ZONE
    try:
        return ZoneInfo(name)
    except (ValueError, ZoneInfoNotFoundError):  # the zone database of this machine lacks it
        return UTC


def grant_of(grant: UUID) -> Grant | None:
    return Grant.objects.select_related("end").filter(pk=grant).first()


def grants_given(collections: Iterable[UUID]) -> list[Grant]:
    """Partners and viewers with access to these collections, past ones too, newest first."""
    return list(
        Grant.objects.filter(collection__in=list(collections))
        .exclude(role=Grant.Role.GUEST)
        .select_related("to", "end")
        .prefetch_related("named")
        .order_by("-position")
    )


def grants_held(keeper: UUID) -> list[Grant]:
    """Partner and viewer grants the keeper was given, past ones too, newest first."""
    return list(
        Grant.objects.filter(to=keeper)
        .exclude(role=Grant.Role.GUEST)
        .select_related("to", "end")
        .prefetch_related("named")
        .order_by("-position")
    )


def vouches_for(by: UUID, keeper: UUID, practice: str = "") -> bool:
    """Whether the one answers for the other as an examiner now; or that it is such a practice's."""
    found = Voucher.objects.filter(by=by, keeper=keeper, practice=practice)
    last = found.order_by("-position").first()
    return last is not None and last.vouches


def confirmed_as(keeper: UUID, practice: str) -> list[UUID]:
    """Who states now that the account is such a practice's."""
    rows = Voucher.objects.filter(keeper=keeper, practice=practice)
    latest = rows.order_by("by", "-position").distinct("by")
    return [one.by_id for one in latest if one.vouches]


def answered_for(one: UUID, other: UUID) -> bool:
    """Whether either ever vouched for the other as an examiner."""
    either = Q(by=one, keeper=other) | Q(by=other, keeper=one)
    return Voucher.objects.filter(either, practice="").exists()


def deceivers_among(keepers: Iterable[UUID], at: int | None = None) -> set[UUID]:
    """Of whom a finding says that they deceived; as of log position ``at``, now when None."""
    found = Deceit.objects.filter(keeper__in=set(keepers))
    found = found if at is None else found.filter(position__lte=at)
    return set(found.values_list("keeper", flat=True))


def practitioner_named(keeper: UUID, name: str) -> Practitioner | None:
    """The veterinarian, laboratory or earlier keeper whom the keeper named so before."""
    return Practitioner.objects.filter(named_by=keeper, name=name).order_by("pk").first()


def practitioners_named_by(keeper: UUID) -> list[Practitioner]:
    """Those whom the keeper named and whose name was not erased, by name; of several with one
    name that which :func:`practitioner_named` finds."""
    named = Practitioner.objects.filter(named_by=keeper).exclude(name="")
    return list(named.order_by("name", "pk").distinct("name"))


def practitioner_of(practitioner: UUID) -> Practitioner | None:
    return Practitioner.objects.select_related("named_by").filter(pk=practitioner).first()


def address_of(practitioner: UUID) -> PractitionerAddress | None:
    """Where they are asked: the newest that the operator entered, else the newest of all."""
    found = PractitionerAddress.objects.filter(practitioner=practitioner).order_by("-at", "-pk")
    return found.filter(entered_by=None).first() or found.first()


def practitioners_asked(among: Iterable[UUID] | None = None) -> set[UUID]:
    """Those whose address the operator entered, of all or ``among`` some."""
    entered = PractitionerAddress.objects.filter(entered_by=None)
    entered = entered if among is None else entered.filter(practitioner__in=set(among))
    return set(entered.values_list("practitioner", flat=True))


def practice_accounts_of(practitioners: Iterable[UUID]) -> dict[UUID, UUID]:
    """Of those whose address the operator did not enter, the account that proved it, where
    somebody ever stated that it is a practice's."""
    newest = PractitionerAddress.objects.filter(practitioner__in=list(practitioners))
    newest = newest.order_by("practitioner", "-at", "-pk").distinct("practitioner")
    asked = dict(newest.values_list("practitioner", "email"))
    for one in practitioners_asked(asked):
        del asked[one]
    stated = Voucher.objects.exclude(practice="").values("keeper")
    proved = EmailAddress.objects.filter(verified=True, user__is_active=True, user__in=stated)
    own = {email.lower(): who for email, who in proved.values_list("email", "user")}
    return {one: own[email.lower()] for one, email in asked.items() if email.lower() in own}


def practitioner_link_behind(token: str, now: datetime) -> PractitionerLink:
    """The live link a token opens.

    Raises:
        LinkGone: forged, unknown, expired or revoked; one answer for all.
    """
    try:
        link_id = link_of(token)
    except BadSignature:
        raise LinkGone() from None
    links = PractitionerLink.objects.select_related("address__practitioner")
    link = links.filter(pk=link_id, revoked_at=None, expires_at__gt=now).first()
    if link is None:
        raise LinkGone()
    return link


def has_proved(keeper: UUID, email: str) -> bool:
    """Whether the address is the keeper's, and they proved it."""
    own = EmailAddress.objects.filter(user=keeper, email__iexact=email, verified=True)
    return bool(own.exists())


def practitioners_at(keeper: UUID) -> "QuerySet[PractitionerAddress, Any]":
    """Ids of practitioners who are asked, or once were, at an address that is the keeper's."""
    own = EmailAddress.objects.filter(user=keeper, verified=True).values("email")
    return PractitionerAddress.objects.filter(email__in=own).values("practitioner")


def is_ended(grant: UUID) -> bool:
    """Whether it was ended before its time."""
    return GrantEnd.objects.filter(pk=grant).exists()
