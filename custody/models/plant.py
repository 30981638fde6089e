"""The house itself and its places."""

from django.db import models

from custody.terms import PlaceKind


class Refinery(models.Model):
    """The one refinery that this book belongs to; one row."""

    name = models.CharField(max_length=200)
    address = models.TextField(blank=True)
    mark = models.CharField(max_length=20)
    time_zone = models.CharField(max_length=60, default="UTC")
    receipt_terms = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "refineries"
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_refinery")]

    def __str__(self) -> str:
        return self.name


class Place(models.Model):
    """Where metal can be: counter, furnace, vessel, vault. A vessel holds at most one content."""

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=PlaceKind.choices())
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return f"{self.code} {self.name}"
