"""Keepers, their devices, and who may see which collection."""

import uuid
from datetime import datetime
from typing import Any, ClassVar, Final

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from simple_history.models import HistoricalRecords

from scalewitness.ledger.models import AppendOnly

UNNAMED: Final = "a keeper without a name yet"


class KeeperManager(BaseUserManager["Keeper"]):
    """Makes keepers; the log knows them by their id only."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "Keeper":
        keeper = self.model(email=self.normalize_email(email), **fields)
        keeper.set_password(password)
        keeper.save(using=self._db)
        return keeper


class Keeper(AbstractBaseUser):
    """A person with an account. Name and address live here and nowhere in the log."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(max_length=254, unique=True)
    name = models.CharField(max_length=80)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)
    digest = models.BooleanField(default=True)
    """Whether the weekly letter of what waits is wanted."""
    time_zone = models.CharField(max_length=64, default="", db_default="", blank=True)
    """In which times are shown to them, as the zone database names it; empty: the record's own."""
    day_style = models.CharField(max_length=12, default="", db_default="", blank=True)
    """How days are written for them (`DayStyle`)."""
    weight_unit = models.CharField(max_length=12, default="", db_default="", blank=True)
    """In which they read and type weights (`WeightUnit`)."""
    sign_outs = models.PositiveIntegerField(default=0)
    """How often every browser was signed out at once: a session is of one such count."""
    # The history tells that a profile changed and when; personal values stay out of it,
    # since history rows can never be erased.
    _history_user: "Keeper | None"
    _history_date: datetime
    history = HistoricalRecords(
        excluded_fields=[
            "email",
            "name",
            "password",
            "last_login",
            "digest",
            "time_zone",
            "day_style",
            "weight_unit",
            "sign_outs",
        ]
    )

    objects: ClassVar[KeeperManager] = KeeperManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    def __str__(self) -> str:
        return str(self.id)

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What each session must carry: Django's, of the password, and the count above."""
        plain: str = super()._get_session_auth_hash(secret=secret)  # type: ignore[misc]
        return f"{plain}{self.sign_outs or ''}"


class Device(models.Model):
    """One phone or computer a keeper signed in on; its token is hashed and revocable."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="devices")
    name = models.CharField(max_length=60)
    token = models.OneToOneField("knox.AuthToken", null=True, on_delete=models.SET_NULL)
    enrolled_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name


class DeviceKey(AppendOnly):
    """The key a device signs facts with: one a device, and no two devices share one.

    ``position`` is that of the fact that enrolled it. ``recovery``: it stands on a sheet of paper,
    and its device is no more than a name for that.
    """

    device = models.OneToOneField(
        Device, primary_key=True, on_delete=models.PROTECT, related_name="key"
    )
    position = models.BigIntegerField(unique=True)
    public = models.CharField(max_length=64, unique=True)
    at = models.DateTimeField()
    recovery = models.BooleanField(default=False, db_default=False)

    def __str__(self) -> str:
        return f"key of {self.device_id}"


class DeviceKeyEnd(AppendOnly):
    """The device was revoked: what it signed stays signed, nothing new is taken."""

    key = models.OneToOneField(
        DeviceKey, primary_key=True, on_delete=models.PROTECT, related_name="end"
    )
    position = models.BigIntegerField(unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"end of {self.key_id}"


class KeyEndorsement(AppendOnly):
    """Another ``by`` of the same keeper's devices said, signed, that this key is theirs too."""

    key = models.OneToOneField(
        DeviceKey, primary_key=True, on_delete=models.PROTECT, related_name="endorsement"
    )
    position = models.BigIntegerField(unique=True)
    by = models.ForeignKey(DeviceKey, on_delete=models.PROTECT, related_name="endorsements")

    def __str__(self) -> str:
        return f"endorsement of {self.key_id}"


class SigningRule(AppendOnly):
    """Whether facts in the keeper's name are ``required`` to be signed from ``position`` on, stated
    on a ``device`` of theirs; of several the last counts. ``wait``: keys that no device endorsed
    count only some days after they were enrolled."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="signing_rules")
    device = models.ForeignKey(DeviceKey, on_delete=models.PROTECT, related_name="rules")
    required = models.BooleanField()
    wait = models.BooleanField()

    def __str__(self) -> str:
        return f"signing rule {self.pk}"


class SigningNotice(AppendOnly):
    """The keeper says that all their devices are lost; received ``at``. If it is not stopped, the
    rule that it was given against ends some days later."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="signing_notices")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"signing notice {self.pk}"


class SigningNoticeStop(AppendOnly):
    """A ``device`` of the keeper's said that not all are lost."""

    notice = models.OneToOneField(
        SigningNotice, primary_key=True, on_delete=models.PROTECT, related_name="stop"
    )
    position = models.BigIntegerField(unique=True)
    device = models.ForeignKey(DeviceKey, on_delete=models.PROTECT, related_name="stops")

    def __str__(self) -> str:
        return f"stop of {self.notice_id}"


class SharedKey(models.Model):
    """A device of the ``second`` account proved to hold the key of one of the ``first``'s. The log
    says nothing of it; ``lifted_at``: an objection was right, and it says nothing any more."""

    first = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["first", "second"], name="one_shared_key")]

    def __str__(self) -> str:
        return f"shared key {self.pk}"


class NamedAsOne(models.Model):
    """A ``finding`` names two accounts as one person's, about one ``animal``. The log holds a
    commitment to the ``accounts``; who they are and what became of it stands here alone.

    Either may object (``objected_at``); the operator finds that wrong (``heard_at``) or right
    (``lifted_at``). They count as one examiner of the animal from ``counts_from`` on."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.UUIDField(db_index=True)
    finding = models.UUIDField()
    accounts = models.CharField(max_length=64)
    first = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    objected_at = models.DateTimeField(null=True)
    heard_at = models.DateTimeField(null=True)
    counts_from = models.DateTimeField(null=True)
    lifted_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal", "first", "second"], name="named_once_for_an_animal"
            )
        ]

    def __str__(self) -> str:
        return f"named as one {self.pk}"


class Practitioner(models.Model):
    """A veterinarian, laboratory or earlier keeper whose call someone reported.

    The log holds the id; the name can be erased.
    """

    id = models.UUIDField(primary_key=True)
    named_by = models.ForeignKey(Keeper, on_delete=models.PROTECT)
    name = models.CharField(max_length=120)

    def __str__(self) -> str:
        return str(self.id)


class PractitionerAddress(models.Model):
    """Where a practitioner can be asked whether they said what was reported of them.

    ``entered_by`` None: the operator entered it, from what the practice publishes. Else it is
    that keeper's own word, and so is what comes back from it.
    """

    id = models.UUIDField(primary_key=True)
    practitioner = models.ForeignKey(
        Practitioner, on_delete=models.CASCADE, related_name="addresses"
    )
    email = models.EmailField(max_length=254)
    entered_by = models.ForeignKey(Keeper, null=True, on_delete=models.PROTECT)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"address of {self.practitioner_id}"


class PractitionerLink(models.Model):
    """A practitioner's way in to all that was reported in their name: signed, expiring, gone
    with a newer address. Its token is derived from the id, so nothing at rest opens it.

    ``upto``: the position of the last call that the letter with it was about.
    """

    id = models.UUIDField(primary_key=True)
    address = models.ForeignKey(PractitionerAddress, on_delete=models.CASCADE, related_name="links")
    upto = models.BigIntegerField()
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"link for {self.address_id}"


class Founder(AppendOnly):
    """The operator named the keeper at the start, when nobody had a record here."""

    keeper = models.OneToOneField(Keeper, primary_key=True, on_delete=models.PROTECT)
    position = models.BigIntegerField(unique=True)

    def __str__(self) -> str:
        return f"founder {self.keeper_id}"


class Voucher(AppendOnly):
    """``by`` answers for the keeper as an examiner from ``position`` on, or no longer; of two by
    the same the later counts. ``practice``: not for that, but that the account is such a one's."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    by = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="vouchers_given")
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="vouchers")
    vouches = models.BooleanField()
    practice = models.CharField(max_length=15, default="", db_default="")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"voucher for {self.keeper_id}"


class Deceit(AppendOnly):
    """A ``finding`` says that the keeper deceived."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="deceits")
    finding = models.UUIDField()

    def __str__(self) -> str:
        return f"deceit of {self.keeper_id}"


class IdempotencyKey(models.Model):
    """Which fact a sender's Idempotency-Key stands for, and when it was first used.

    Keys are kept for good: a repeat years later is still a repeat.
    """

    sender = models.UUIDField()
    key = models.CharField(max_length=100)
    fact = models.UUIDField(unique=True)
    first_used_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["sender", "key"], name="one_fact_per_key")]

    def __str__(self) -> str:
        return f"key for {self.fact}"


class RecordEdit(models.Model):
    """An edit of a record that came with a push and was taken: a repeat is known by its id.

    ``digest`` is SHA-256 over what was sent; ``version`` the one the record had afterwards.
    """

    id = models.UUIDField(primary_key=True)
    by = models.UUIDField()
    digest = models.CharField(max_length=64)
    version = models.PositiveIntegerField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"edit {self.id}"


class Grant(AppendOnly):
    """Leave to see a collection, or some of its animals, for a time.

    ``id`` is the fact that gave it (for a guest: the visit). Plain ids point to
    collections and animals, which this app does not know.
    """

    class Role(models.TextChoices):
        PARTNER = "partner"
        VIEWER = "viewer"
        GUEST = "guest"

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    collection = models.UUIDField(db_index=True)
    to = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="grants")
    role = models.CharField(max_length=10, choices=Role.choices)
    whole = models.BooleanField()
    blind = models.BooleanField(default=False)
    opens = models.DateTimeField()
    closes = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.role} on {self.collection}"


class GrantAnimal(AppendOnly):
    """An animal that a grant for part of a collection names."""

    grant = models.ForeignKey(Grant, on_delete=models.PROTECT, related_name="named")
    animal = models.UUIDField(db_index=True)

    def __str__(self) -> str:
        return str(self.animal)


class GrantEnd(AppendOnly):
    """A grant ended before its time."""

    grant = models.OneToOneField(
        Grant, primary_key=True, on_delete=models.PROTECT, related_name="end"
    )
    position = models.BigIntegerField(unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"end of {self.grant_id}"
