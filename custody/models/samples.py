"""Samples: how each was cut, for whom, and under which seals it lay."""

from django.db import models

from custody.terms import SampleCut, SamplePurpose


class Sample(models.Model):
    """How a sample lot was drawn from its lot."""

    ledger = True

    lot = models.OneToOneField("custody.Lot", primary_key=True, on_delete=models.PROTECT, related_name="sample")
    cut = models.CharField(max_length=20, choices=SampleCut.choices())
    purpose = models.CharField(max_length=20, choices=SamplePurpose.choices())
    seal = models.CharField(max_length=60, default="")
    position = models.CharField(max_length=120, default="")
    witness = models.CharField(max_length=200, default="")


class SampleSeal(models.Model):
    """A seal put on a sample later, and what it is kept for from then on."""

    writable = {"INSERT"}

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="seals")
    seal = models.CharField(max_length=60)
    purpose = models.CharField(max_length=20, choices=SamplePurpose.choices())
    note = models.CharField(max_length=300, default="")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("id",)
