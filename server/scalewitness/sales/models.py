"""The deal: who buys what, on which standing, and every step of it."""

from django.db import models

from scalewitness.animals.models import Animal, Collection
from scalewitness.ledger.models import AppendOnly
from scalewitness.people.models import Keeper


class Buyer(models.Model):
    """The other side of a sale; needs no account. The log holds the id only."""

    id = models.UUIDField(primary_key=True)
    name = models.CharField(max_length=80)
    email = models.EmailField(max_length=254)
    keeper = models.ForeignKey(Keeper, null=True, on_delete=models.PROTECT)
    reminders = models.BooleanField(default=True)

    def __str__(self) -> str:
        return str(self.id)


class AddressChange(models.Model):
    """The buyer's letters go elsewhere from then on. ``by``: the keeper who stated it, None
    where it was the buyer by their link. Addresses themselves are not kept twice."""

    id = models.UUIDField(primary_key=True)
    buyer = models.ForeignKey(Buyer, on_delete=models.CASCADE, related_name="address_changes")
    by = models.UUIDField(null=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"address of {self.buyer_id}"


class Sale(AppendOnly):
    """A sale as drafted: parties and animals. Its state is the fold of its steps. ``by_code``:
    by link the buyer confirms only with a code from a letter of its own."""

    id = models.UUIDField(primary_key=True)
    collection = models.ForeignKey(Collection, on_delete=models.PROTECT, related_name="sales")
    buyer = models.ForeignKey(Buyer, on_delete=models.PROTECT, related_name="purchases")
    drafted_by = models.ForeignKey(Keeper, on_delete=models.PROTECT)
    drafted_at = models.DateTimeField()
    by_code = models.BooleanField(default=False)
    animals = models.ManyToManyField(Animal, through="SaleAnimal", related_name="sales")

    def __str__(self) -> str:
        return f"sale {self.id}"


class SaleAnimal(AppendOnly):
    sale = models.ForeignKey(Sale, on_delete=models.PROTECT)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sale", "animal"], name="animal_once_per_sale")
        ]

    def __str__(self) -> str:
        return str(self.animal_id)


class SaleStep(AppendOnly):
    """One fact about a sale, in log order. ``body`` is the fact's body as logged."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    sale = models.ForeignKey(Sale, on_delete=models.PROTECT, related_name="steps")
    kind = models.CharField(max_length=40)
    by = models.UUIDField(null=True)
    at = models.DateTimeField()
    body = models.JSONField()

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.kind


class OfferLink(models.Model):
    """The buyer's way in: signed, expiring, revocable. Its token is derived from the id
    under the server's key when a letter is composed, so nothing at rest opens it.

    ``purpose``: ``offer`` to read, confirm or decline; ``disclosure`` to read what changed
    and acknowledge it.
    """

    id = models.UUIDField(primary_key=True)
    sale = models.ForeignKey(Sale, on_delete=models.PROTECT, related_name="links")
    offer = models.UUIDField()
    purpose = models.CharField(max_length=10)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"link to {self.sale_id}"


class ConfirmationCode(models.Model):
    """A code sent to the buyer. The digits are derived from the id under the server's key, so
    that none is at rest."""

    id = models.UUIDField(primary_key=True)
    sale = models.ForeignKey(Sale, on_delete=models.CASCADE, related_name="codes")
    made_at = models.DateTimeField()
    tries = models.PositiveSmallIntegerField(default=0)
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"code for {self.sale_id}"
