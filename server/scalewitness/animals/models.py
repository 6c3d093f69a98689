"""Collections, animals and what is noted about them. Sex is not a column here."""

from datetime import datetime
from functools import cache
from typing import Final

from django.db import models
from simple_history.models import HistoricalRecords

from scalewitness.ledger.models import AppendOnly
from scalewitness.people.models import Keeper

ON_SHEET = ("tag", "transponder")
"""Schemes of the codes that a guest who checks blind reads; a scale photo could tell more."""


class Collection(models.Model):
    """The animals one keeper, with partners, holds."""

    id = models.UUIDField(primary_key=True)
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="collections")
    name = models.CharField(max_length=80)
    version = models.PositiveIntegerField(default=1)
    _history_user: Keeper | None
    _history_date: datetime
    history = HistoricalRecords()

    def __str__(self) -> str:
        return self.name


IN_ERROR: Final = "error"
"""Of an animal that was registered in error: why it is not there."""


class _Registered(models.Manager["Animal"]):
    """All but those registered in error."""

    def get_queryset(self) -> models.QuerySet["Animal"]:
        return super().get_queryset().exclude(ended=IN_ERROR)


class Animal(models.Model):
    """One snake. ``name``, ``rack``, ``description`` and ``hold_off`` are the record a
    keeper edits; the rest follows the facts and is written by intake alone. ``ended``: why it is
    no longer there, as its keeper says, empty while it is; ``ended_at``: since when. Without those
    registered in error are ``objects``, and the animals of anything else; ``ever`` has them."""

    id = models.UUIDField(primary_key=True)
    collection = models.ForeignKey(Collection, on_delete=models.PROTECT, related_name="animals")
    species = models.CharField(max_length=60)
    hatched = models.DateField(null=True)
    sire = models.UUIDField(null=True)
    dam = models.UUIDField(null=True)
    traits = models.JSONField(default=list)
    name = models.CharField(max_length=80, blank=True, default="")
    rack = models.CharField(max_length=40, blank=True, default="")
    description = models.TextField(max_length=2000, blank=True, default="")
    hold_off = models.BooleanField(default=False)
    ended = models.CharField(max_length=6, blank=True, default="")
    ended_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)
    _history_user: Keeper | None
    _history_date: datetime
    history = HistoricalRecords()
    objects = _Registered()
    ever = models.Manager["Animal"]()

    class Meta:
        indexes = [
            models.Index(
                fields=["sire"], name="animal_sire", condition=models.Q(sire__isnull=False)
            ),
            models.Index(fields=["dam"], name="animal_dam", condition=models.Q(dam__isnull=False)),
        ]

    def __str__(self) -> str:
        return self.name or str(self.id)


class IdentifierWithdrawal(AppendOnly):
    """A code that was given to the animal by mistake; it bears it no more, unless it is given it
    again."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(
        Animal, on_delete=models.PROTECT, related_name="identifiers_withdrawn"
    )
    scheme = models.CharField(max_length=12)
    code = models.CharField(max_length=60)
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.scheme} {self.code}, withdrawn"


class _Borne(models.Manager["Identifier"]):
    """Those that were not withdrawn since, of animals not registered in error, in the order
    assigned."""

    def get_queryset(self) -> models.QuerySet["Identifier"]:
        return _borne().using(self._db) if self._db else _borne().all()


@cache
def _borne() -> models.QuerySet["Identifier"]:
    """Worked out once: to read those of many animals, Django asks the manager of each of them."""
    withdrawn = IdentifierWithdrawal.objects.filter(
        animal=models.OuterRef("animal"),
        scheme=models.OuterRef("scheme"),
        code=models.OuterRef("code"),
        position__gt=models.OuterRef("position"),
    )
    there = Identifier.ever.exclude(animal__ended=IN_ERROR)
    return there.filter(~models.Exists(withdrawn)).order_by("position")


class Identifier(AppendOnly):
    """A transponder code, tag or scale photograph by which the animal is told apart. ``objects``,
    and those of an animal, are what it bears now; ``ever``: also what was withdrawn since."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="identifiers")
    scheme = models.CharField(max_length=12)
    code = models.CharField(max_length=60, db_index=True)
    objects = _Borne()
    ever = models.Manager["Identifier"]()

    def __str__(self) -> str:
        return f"{self.scheme} {self.code}"


class Joining(AppendOnly):
    """A proposal that the animal's record and that of the ``other`` are of one snake; or, with
    ``parts``, that the two which that proposal joined are not."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="joinings")
    other = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="joinings_asked")
    code = models.CharField(max_length=60)
    parts = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="partings")
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.animal_id} {'parted from' if self.parts_id else 'joined with'} another"


class JoiningAnswer(AppendOnly):
    """What the keeper of the other ``animal``, or an arbiter by a ``finding``, says of it."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    proposal = models.ForeignKey(Joining, on_delete=models.PROTECT, related_name="answers")
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="joinings_answered")
    agrees = models.BooleanField()
    finding = models.UUIDField(null=True)
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.proposal_id}: {'yes' if self.agrees else 'no'}"


class Husbandry(AppendOnly):
    """A weight, meal, shed, health note or remark."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="husbandry")
    by = models.UUIDField()
    at = models.DateTimeField()
    type = models.CharField(max_length=10)
    noted = models.JSONField()

    class Meta:
        indexes = [models.Index(fields=["animal", "type", "-at"], name="husbandry_latest")]

    def __str__(self) -> str:
        return self.type


class Photo(AppendOnly):
    """A photo of the animal, or of a ``call`` on it. ``sha256`` (hex) and ``size`` are those
    of the file, a plain JPEG."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="photos")
    call = models.UUIDField(null=True, db_index=True)
    by = models.UUIDField()
    at = models.DateTimeField()
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()

    def __str__(self) -> str:
        return f"photo {self.id}"


class PhotoFile(models.Model):
    """That the file arrived, and the file itself: ``data``, or in the bucket the ``object`` of this
    id. It may be deleted when the law asks for it; it can be moved, and never changed."""

    photo = models.OneToOneField(
        Photo, primary_key=True, on_delete=models.PROTECT, related_name="file"
    )
    data = models.BinaryField(null=True)
    object = models.UUIDField(null=True, unique=True)
    arrived_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(data__isnull=True, object__isnull=False)
                | models.Q(data__isnull=False, object__isnull=True),
                name="photo_file_in_one_place",
            )
        ]
        indexes = [
            models.Index(
                fields=["photo"],
                condition=models.Q(data__isnull=False),
                name="photo_file_in_database",
            )
        ]

    def __str__(self) -> str:
        return f"file of {self.photo_id}"


class PhotoErasure(models.Model):
    """That the file of a photo was erased, so that it never arrives again. ``cleared_at``: since
    when the bucket is known to hold nothing of it."""

    photo = models.OneToOneField(
        Photo, primary_key=True, on_delete=models.PROTECT, related_name="erasure"
    )
    at = models.DateTimeField()
    cleared_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["photo"],
                condition=models.Q(cleared_at__isnull=True),
                name="photo_erasure_to_clear",
            )
        ]

    def __str__(self) -> str:
        return f"erasure of {self.photo_id}"


class Custody(AppendOnly):
    """A move from one collection to another."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="custody")
    came_from = models.UUIDField()
    went_to = models.UUIDField()
    why = models.CharField(max_length=10)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.why
