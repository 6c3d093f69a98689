"""Devices that ask for approval."""

import uuid

from django.db import models

from scalewitness.people.models import Keeper


class DeviceRequest(models.Model):
    """A device that waits for its keeper to confirm it on a page (RFC 8628). Both of its codes
    rest as digests. Deleted once its token is fetched, else when it is over."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    device_digest = models.CharField(max_length=64, unique=True)
    user_digest = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=60)
    address = models.CharField(max_length=64)
    """Where on the network it asked from: for its keeper to look at."""
    asked_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)
    interval = models.PositiveSmallIntegerField()
    """Seconds it must leave between two questions."""
    polled_at = models.DateTimeField(null=True)
    keeper = models.ForeignKey(Keeper, null=True, on_delete=models.CASCADE)
    """Who confirmed it; nobody yet."""
    refused = models.BooleanField(default=False)

    def __str__(self) -> str:
        return str(self.id)
