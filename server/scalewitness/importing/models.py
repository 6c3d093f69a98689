"""Lists of animals between being read and being confirmed. Nothing of them is on record yet."""

from django.db import models

from scalewitness.animals.models import Collection
from scalewitness.people.models import Keeper


class Upload(models.Model):
    """A list that a keeper brought. ``table``: a `ListFile` of `domain.tables`, packed, and their
    ``answers``. ``stored``: lines that are on record since, by number. ``refused``: why the record
    did not take a line, by its number. ``elsewhere``: transponders that other records bore first.
    Kept for a day."""

    id = models.UUIDField(primary_key=True)
    keeper = models.ForeignKey(Keeper, on_delete=models.CASCADE, related_name="+")
    collection = models.ForeignKey(Collection, on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=120)
    table = models.BinaryField()
    answers = models.JSONField(default=dict)
    stored = models.JSONField(default=list)
    refused = models.JSONField(default=dict)
    elsewhere = models.JSONField(default=list)
    brought_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.name
