"""Holds and releases, each with its reason."""

from django.db import models

from custody.terms import Clearance


class ClearanceEvent(models.Model):
    """Someone with the right to do so held or released a lot, and said why."""

    ledger = True

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="clearance_events")
    clearance = models.CharField(max_length=20, choices=Clearance.choices())
    reason = models.TextField()
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
