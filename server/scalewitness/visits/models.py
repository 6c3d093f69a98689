"""Visits: dated invitations to check another keeper's animals."""

from django.db import models

from scalewitness.animals.models import Animal, Collection
from scalewitness.ledger.models import AppendOnly
from scalewitness.people.models import Keeper


class Visit(AppendOnly):
    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    collection = models.ForeignKey(Collection, on_delete=models.PROTECT, related_name="visits")
    host = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="hosted_visits")
    guest = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="visits")
    opens = models.DateTimeField()
    closes = models.DateTimeField()
    blind = models.BooleanField()
    animals = models.ManyToManyField(Animal, through="VisitAnimal", related_name="visits")

    def __str__(self) -> str:
        return f"visit {self.id}"


class VisitAnimal(AppendOnly):
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT)

    def __str__(self) -> str:
        return str(self.animal_id)


class VisitStep(AppendOnly):
    """The guest's answer, or the host's cancellation."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="steps")
    kind = models.CharField(max_length=20)
    at = models.DateTimeField()

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.kind


class InvitationByLetter(models.Model):
    """To an address, whoever's it is; nothing of it is in the log. Once its owner takes it up it
    becomes the visit of that id. It is kept until then, or until the visit would be over; a year
    at most."""

    id = models.UUIDField(primary_key=True)
    collection = models.ForeignKey(Collection, on_delete=models.CASCADE, related_name="+")
    host = models.ForeignKey(Keeper, on_delete=models.CASCADE, related_name="+")
    email = models.EmailField(max_length=254)
    animals = models.JSONField()
    opens = models.DateTimeField()
    closes = models.DateTimeField(db_index=True)
    blind = models.BooleanField()
    invited_at = models.DateTimeField()
    declined_at = models.DateTimeField(null=True)
    letter_owed = models.BooleanField(default=True, db_default=True)
    """Whether the address gets a letter of it: it gets few, from all hosts together."""

    def __str__(self) -> str:
        return f"invitation {self.id}"
