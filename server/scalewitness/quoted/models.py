"""Records of other logs, quoted beside animals of this one. Nothing here is counted."""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly


class Quote(AppendOnly):
    """The fact, as its entry has it. ``there``: the animal's id in that log."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(
        Animal, on_delete=models.PROTECT, related_name="quotes", db_index=False
    )
    by = models.UUIDField()
    at = models.DateTimeField()
    sha256 = models.CharField(max_length=64)
    origin = models.CharField(max_length=200)
    size = models.BigIntegerField()
    there = models.UUIDField()
    scheme = models.CharField(max_length=12)
    code = models.CharField(max_length=60)

    class Meta:
        indexes = [models.Index(fields=["animal", "-position"], name="quotes_of_animal")]

    def __str__(self) -> str:
        return f"{self.there} of {self.origin} at {self.size}"


class QuotedFile(models.Model):
    """The file, once it arrived and held, and what stands in it: ``key`` vouches for the tree with
    that ``root``, ``signed_at`` by that log's clock; its last standing, by ``label`` and
    ``p_male``, is empty where none is stated. It may be deleted; it can never be changed."""

    quote = models.OneToOneField(
        Quote, primary_key=True, on_delete=models.PROTECT, related_name="file"
    )
    data = models.BinaryField()
    key = models.CharField(max_length=400)
    root = models.CharField(max_length=64)
    signed_at = models.DateTimeField(null=True)
    entries = models.PositiveIntegerField()
    calls = models.PositiveIntegerField()
    label = models.CharField(max_length=20, blank=True)
    p_male = models.CharField(max_length=8, blank=True)
    arrived_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["key"], name="quoted_key")]

    def __str__(self) -> str:
        return f"file of {self.quote_id}"
