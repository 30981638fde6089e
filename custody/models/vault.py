"""The vault: two people open it, and what stands in it is counted."""

from django.db import models


class VaultAccess(models.Model):
    """Two people opened a place; until it is closed again (``VaultClosing``), either may work there."""

    ledger = True

    number = models.CharField(max_length=40, unique=True)
    place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="accesses")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    purpose = models.CharField(max_length=200)
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.CheckConstraint(condition=~models.Q(by=models.F("second")), name="vault_opened_by_two"),
        ]

    def __str__(self) -> str:
        return self.number


class VaultClosing(models.Model):
    """The place is closed again; where a manager does who is neither of the two, ``note`` says why."""

    ledger = True

    access = models.OneToOneField(VaultAccess, on_delete=models.PROTECT, related_name="closing")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, default="")


class StockCount(models.Model):
    """A count of everything at a place against the book, by two people; it changes no book."""

    ledger = True

    number = models.CharField(max_length=40, unique=True)
    place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="counts")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, default="")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
        constraints = [models.CheckConstraint(condition=~models.Q(by=models.F("second")), name="counted_by_two")]

    def __str__(self) -> str:
        return self.number


class StockCountLine(models.Model):
    """One lot that the book has at the place, as it stood then; found, or not, and then why not.

    ``last_movement`` is the lot's last line in the book then: a later change is told from it, whatever its date.
    """

    ledger = True

    count = models.ForeignKey(StockCount, on_delete=models.PROTECT, related_name="lines")
    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="counted")
    custodian = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    book_mg = models.BigIntegerField()
    last_movement = models.BigIntegerField()
    found = models.BooleanField()
    note = models.CharField(max_length=200, default="")

    class Meta:
        ordering = ("count", "id")
        constraints = [models.UniqueConstraint(fields=("count", "lot"), name="counted_once")]


class StockCountStray(models.Model):
    """What was scanned at the place and does not stand there by the book, and where the book had it then."""

    ledger = True

    count = models.ForeignKey(StockCount, on_delete=models.PROTECT, related_name="strays")
    code = models.CharField(max_length=60)
    lot = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey("custody.Place", null=True, on_delete=models.PROTECT, related_name="+")
    custodian = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, default="")
