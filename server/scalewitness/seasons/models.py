"""Seasons as their keepers want them, and what the worker last made of them."""

from datetime import datetime

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.indexes import GinIndex
from django.db import models
from simple_history.models import HistoricalRecords

from scalewitness.animals.models import Collection
from scalewitness.people.models import Keeper


class Season(models.Model):
    """What is wanted of one year's young of a collection, and what is possible: a record that its
    keepers edit. Which animals are paired is said by facts alone. ``kept``: pairings that a
    proposal leaves as they are."""

    id = models.UUIDField(primary_key=True)
    collection = models.ForeignKey(Collection, on_delete=models.PROTECT, related_name="seasons")
    year = models.SmallIntegerField()
    wants = models.JSONField(default=list)
    limits = models.JSONField(default=dict)
    kept = models.JSONField(default=list)
    version = models.PositiveIntegerField(default=1)
    _history_user: Keeper | None
    _history_date: datetime
    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["collection", "year"], name="one_season_a_year")
        ]

    def __str__(self) -> str:
        return f"season {self.year}"


class SeasonOutlook(models.Model):
    """What was computed of a season for one reader, from what that reader may see.

    ``position``: the log's size it rests on; ``settings``: the version of the season's record;
    ``basis``: every animal, collection and pairing it was computed from; ``digest``: of all that
    was read. ``body`` is empty until it was computed once. ``asked_best``: when the reader last
    asked for the best plan. A worker at it holds it until ``claimed_until``."""

    collection = models.ForeignKey(Collection, on_delete=models.CASCADE, related_name="outlooks")
    year = models.SmallIntegerField()
    reader = models.ForeignKey(Keeper, on_delete=models.CASCADE, related_name="outlooks")
    position = models.BigIntegerField(default=0)
    settings = models.PositiveIntegerField(default=0)
    basis = ArrayField(models.UUIDField(), default=list)
    digest = models.CharField(max_length=64, blank=True, default="")
    body = models.JSONField(default=dict)
    asked_best = models.DateTimeField(null=True)
    computed_at = models.DateTimeField(null=True)
    claimed_until = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["collection", "year", "reader"], name="one_outlook_a_reader"
            )
        ]
        indexes = [GinIndex(fields=["basis"], name="outlook_basis")]

    def __str__(self) -> str:
        return f"outlook on {self.year}"
