"""The log as tables: entries, the one head row, and the erasable text beside them."""

from django.contrib.postgres.fields import ArrayField
from django.db import models


class AppendOnly(models.Model):
    """A table whose rows are never updated, deleted or truncated.

    ``migrate`` puts a trigger on every table of this kind and withholds the rights from
    the runtime role; there is nothing to remember when a new one is added.
    """

    class Meta:
        abstract = True


class Head(models.Model):
    """The one row that gives out positions, and the Merkle tree's right edge.

    Its row lock, held to commit, is what makes positions dense and gap-free for readers.
    A trigger lets ``size`` only grow.
    """

    id = models.SmallIntegerField(primary_key=True, default=1)
    size = models.BigIntegerField(default=0)
    frontier = models.BinaryField()
    root = models.BinaryField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_head")]

    def __str__(self) -> str:
        return f"head at {self.size}"


class Entry(AppendOnly):
    """One fact in the log. ``leaf`` holds the exact canonical bytes that were hashed."""

    position = models.BigIntegerField(primary_key=True)
    fact = models.UUIDField(unique=True)
    kind = models.CharField(max_length=40)
    by = models.UUIDField(null=True)
    device = models.UUIDField(null=True)
    about = models.UUIDField(null=True)
    claimed_at = models.DateTimeField()
    received_at = models.DateTimeField()
    flags = ArrayField(models.CharField(max_length=20), default=list)
    leaf = models.BinaryField()
    leaf_hash = models.BinaryField()

    class Meta:
        indexes = [
            models.Index(fields=["about", "position"], name="entry_about"),
            models.Index(fields=["kind", "position"], name="entry_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.position} {self.kind}"


class Text(models.Model):
    """Free text of a fact. The log holds only its salted commitment, so the row may be
    deleted when the law asks for it; it can never be changed."""

    fact = models.UUIDField()
    field = models.CharField(max_length=20)
    salt = models.BinaryField()
    text = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fact", "field"], name="one_text_per_field")]

    def __str__(self) -> str:
        return f"{self.field} of {self.fact}"
