"""Handovers: who answered for a lot, from when, and who took it over."""

from django.db import models


class Handover(models.Model):
    """The signed passing on of one lot, weighed again; or at book, and then it says why it was not weighed.

    A difference beyond what both scales may be off by (``allowed_ug``) passes only explained and countersigned. ``by``
    gives or takes; at a shift handover the other one signs beside (``signed_by``). A lot that was not found then stays
    where it was, and the row says so: it passes nothing on.
    """

    ledger = True

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="handovers")
    at = models.DateTimeField()
    from_person = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    to_person = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    from_place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="+")
    to_place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="+")
    book_mg = models.BigIntegerField()
    weighed_mg = models.BigIntegerField(null=True)
    weighing = models.OneToOneField("custody.Weighing", null=True, on_delete=models.PROTECT, related_name="handover")
    allowed_ug = models.BigIntegerField(null=True)
    not_weighed = models.CharField(max_length=60, default="")
    seen = models.BooleanField(default=True)
    explanation = models.CharField(max_length=300, default="")
    countersigned_by = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT, related_name="+")
    countersigned_at = models.DateTimeField(null=True)
    countersign_meaning = models.CharField(max_length=200, default="")
    note = models.CharField(max_length=300, default="")
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    signed_by = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField(null=True)
    request_key = models.UUIDField(null=True)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                fields=("request_key", "lot"), name="one_handover", condition=models.Q(request_key__isnull=False)
            ),
            models.CheckConstraint(
                condition=models.Q(weighed_mg__isnull=False) | ~models.Q(not_weighed=""), name="weighed_or_says_why_not"
            ),
        ]
