"""Weighings, determinations and their acceptance."""

from django.db import models


class Weighing(models.Model):
    """One reading of a scale, for ever; net = gross − tare."""

    writable = {"INSERT"}

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="weighings")
    scale = models.CharField(max_length=60)
    gross_mg = models.BigIntegerField()
    tare_mg = models.BigIntegerField(default=0)
    net_mg = models.BigIntegerField()
    purpose = models.CharField(max_length=60)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(net_mg=models.F("gross_mg") - models.F("tare_mg"))
                & models.Q(net_mg__gte=0)
                & models.Q(tare_mg__gte=0),
                name="net_is_gross_less_tare",
            )
        ]


class Determination(models.Model):
    """The laboratory's answer for one lot: fineness of each metal in parts per million by mass."""

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
            )
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
