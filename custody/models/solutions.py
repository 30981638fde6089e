"""Solutions in tanks: their assays by volume, and the current of electrolytic cells."""

from django.db import models


class SolutionAssay(models.Model):
    """The assay of a solution: its volume, its density and what a litre of it holds.

    ``density_mg_ml`` is milligrams per millilitre (1050 is 1.05 g/mL), ``ph_centi`` hundredths of a pH. Accepted by
    another person, it gives the lot its gross and its metals, and what that changes is posted as a difference.
    """

    writable = {"INSERT"}

    number = models.CharField(max_length=40, unique=True)
    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="solution_assays")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    method = models.CharField(max_length=60)
    volume_ml = models.BigIntegerField()
    density_mg_ml = models.IntegerField()
    ph_centi = models.IntegerField(null=True)
    note = models.CharField(max_length=300, default="", blank=True)
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(volume_ml__gt=0, density_mg_ml__gt=0)
                & (models.Q(ph_centi__isnull=True) | models.Q(ph_centi__gte=-200, ph_centi__lte=1600)),
                name="solution_of_something",
            )
        ]

    def __str__(self) -> str:
        return self.number


class SolutionFigure(models.Model):
    """What a litre holds of one substance, micrograms. Below the limit of detection, the limit counts (``below``)."""

    writable = {"INSERT"}

    assay = models.ForeignKey(SolutionAssay, on_delete=models.PROTECT, related_name="figures")
    substance = models.CharField(max_length=8)
    ug_l = models.BigIntegerField()
    below = models.BooleanField(default=False)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(fields=("assay", "substance"), name="one_figure_per_substance"),
            models.CheckConstraint(condition=models.Q(ug_l__gte=0), name="figure_not_negative"),
        ]


class SolutionAcceptance(models.Model):
    """The word of another person that an assay stands, with the valuation that it made; written by the book alone."""

    ledger = True

    assay = models.OneToOneField(SolutionAssay, on_delete=models.PROTECT, related_name="acceptance")
    operation = models.OneToOneField("custody.Operation", on_delete=models.PROTECT, related_name="solution_acceptance")
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")


class CellReading(models.Model):
    """The current of an electrolytic cell over a time: mean milliamperes, and millivolts where they were read.

    A reading that was wrong stays, replaced by another that says why.
    """

    writable = {"INSERT"}

    run = models.ForeignKey("custody.Run", on_delete=models.PROTECT, related_name="cell_readings")
    from_at = models.DateTimeField()
    to_at = models.DateTimeField()
    milliampere = models.BigIntegerField()
    millivolt = models.BigIntegerField(null=True)
    note = models.CharField(max_length=200, default="", blank=True)
    replaces = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="replaced_by")
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("run", "from_at")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(to_at__gt=models.F("from_at"), milliampere__gte=0)
                & (models.Q(millivolt__isnull=True) | models.Q(millivolt__gte=0)),
                name="current_over_a_time",
            ),
            models.CheckConstraint(
                condition=models.Q(replaces__isnull=True) | ~models.Q(note=""), name="replaced_with_a_reason"
            ),
        ]
