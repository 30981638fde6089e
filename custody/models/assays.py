"""Determinations and their acceptance."""

from django.contrib.postgres.fields import ArrayField
from django.db import models


class Determination(models.Model):
    """The laboratory's answer for one lot: fineness of each metal in parts per million by mass.

    ``expanded_ppb`` is the expanded uncertainty (k = 2) of each metal in parts per billion, zero where none is stated.
    It comes from a worksheet, or from an exchange of assays, or was typed.
    """

    writable = {"INSERT"}

    number = models.CharField(max_length=40, unique=True)
    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="determinations")
    sample = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="+")
    method = models.CharField(max_length=60)
    au_ppm = models.IntegerField(default=0)
    ag_ppm = models.IntegerField(default=0)
    pt_ppm = models.IntegerField(default=0)
    pd_ppm = models.IntegerField(default=0)
    cu_ppm = models.IntegerField(default=0)
    expanded_ppb = ArrayField(models.BigIntegerField(), size=5, null=True)
    worksheet = models.ForeignKey(
        "custody.Worksheet", null=True, on_delete=models.PROTECT, related_name="determinations"
    )
    exchange = models.ForeignKey("custody.Exchange", null=True, on_delete=models.PROTECT, related_name="determinations")
    note = models.TextField(default="", blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(au_ppm__gte=0, ag_ppm__gte=0, pt_ppm__gte=0, pd_ppm__gte=0, cu_ppm__gte=0)
                & models.Q(
                    au_ppm__lte=1_000_000
                    - models.F("ag_ppm")
                    - models.F("pt_ppm")
                    - models.F("pd_ppm")
                    - models.F("cu_ppm")
                ),
                name="fineness_within_whole",
            ),
            models.UniqueConstraint(fields=("worksheet", "lot"), name="one_report_of_a_lot"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def ppm(self) -> tuple[int, int, int, int, int]:
        """Fineness of Au, Ag, Pt, Pd, Cu in parts per million by mass."""
        return (self.au_ppm, self.ag_ppm, self.pt_ppm, self.pd_ppm, self.cu_ppm)


class Acceptance(models.Model):
    """A second person's word that a determination counts (I12)."""

    writable = {"INSERT"}

    determination = models.OneToOneField(Determination, on_delete=models.PROTECT, related_name="acceptance")
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
