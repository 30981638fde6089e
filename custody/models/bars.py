"""Stamped bars. A mark, serial and year name one uncancelled bar, for ever (I6)."""

from django.db import models


class Bar(models.Model):
    """The stamp on one bar."""

    ledger = True

    lot = models.OneToOneField("custody.Lot", on_delete=models.PROTECT, related_name="bar")
    mark = models.CharField(max_length=20)
    serial = models.CharField(max_length=40)
    year = models.SmallIntegerField()
    replaces = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="replaced_by")
    cancelled_by = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=("serial",), name="bar_serial")]
        constraints = [
            models.UniqueConstraint(
                fields=("mark", "serial", "year"),
                name="unique_uncancelled_bar",
                condition=models.Q(cancelled_by__isnull=True),
            )
        ]

    def __str__(self) -> str:
        return f"{self.mark} {self.serial} {self.year}"
