"""Handovers: who answered for a lot, from when, and who took it over."""

from django.db import models


class Handover(models.Model):
    """The signed passing on of one lot. ``weighed_mg`` empty means handed over at book, not weighed."""

    ledger = True

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="handovers")
    at = models.DateTimeField()
    from_person = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    to_person = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    from_place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="+")
    to_place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="+")
    book_mg = models.BigIntegerField()
    weighed_mg = models.BigIntegerField(null=True)
    note = models.CharField(max_length=300, default="")
    request_key = models.UUIDField(null=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                fields=("request_key", "lot"), name="one_handover", condition=models.Q(request_key__isnull=False)
            )
        ]
