"""The laboratory's worksheets: one furnace charge each, many pieces and proofs, every raw reading for ever."""

from django.db import models

from custody.terms import Method, PieceRole, ReadingOf

#: Pieces that speak of a lot; the others are of a proof metal.
OF_LOTS = (PieceRole.SAMPLE.value, PieceRole.SILVER_SAMPLE.value)


class ProofMetal(models.Model):
    """Pure metal that the laboratory runs beside its samples, with its certified purity."""

    writable = {"INSERT", "UPDATE"}

    code = models.CharField(max_length=30, unique=True)
    metal = models.CharField(max_length=2)
    purity_ppm = models.IntegerField()
    uncertainty_ppm = models.IntegerField(default=0)
    certificate = models.CharField(max_length=120, default="", blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return f"{self.code} {self.metal}"


class Worksheet(models.Model):
    """One charge of a furnace, one series of titrations, or one session of an instrument."""

    writable = {"INSERT"}

    number = models.CharField(max_length=40, unique=True)
    method = models.CharField(max_length=60, choices=Method.choices())
    metal = models.CharField(max_length=2)
    place = models.ForeignKey("custody.Place", null=True, on_delete=models.PROTECT, related_name="+")
    balance = models.ForeignKey("custody.Scale", null=True, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(default="", blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return self.number


class WorksheetPiece(models.Model):
    """One piece of a charge: a portion of a sample, a proof, or a standard. ``lot`` is the lot that it speaks of."""

    writable = {"INSERT"}

    worksheet = models.ForeignKey(Worksheet, on_delete=models.PROTECT, related_name="pieces")
    position = models.PositiveSmallIntegerField()
    role = models.CharField(max_length=20, choices=PieceRole.choices())
    lot = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="pieces")
    sample = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="+")
    proof_metal = models.ForeignKey(ProofMetal, null=True, on_delete=models.PROTECT, related_name="pieces")

    class Meta:
        ordering = ("worksheet", "position")
        constraints = [
            models.UniqueConstraint(fields=("worksheet", "position"), name="one_piece_per_position"),
            models.CheckConstraint(
                condition=models.Q(role__in=OF_LOTS, lot__isnull=False, proof_metal__isnull=True)
                | (~models.Q(role__in=OF_LOTS) & models.Q(lot__isnull=True, proof_metal__isnull=False)),
                name="piece_is_of_a_lot_or_a_proof",
            ),
        ]


class WorksheetImport(models.Model):
    """A file of balance or instrument readings as it was read, whole."""

    writable = {"INSERT"}

    worksheet = models.ForeignKey(Worksheet, on_delete=models.PROTECT, related_name="imports")
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    text = models.TextField()
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(fields=("worksheet", "sha256"), name="one_import_of_a_file")]


class WorksheetReading(models.Model):
    """One raw reading of a piece; a later one of the same kind replaces it and says why, and both stay.

    ``value`` is micrograms (masses), microlitres (volumes), or micrograms per kilogram (an impurity: ``element``).
    """

    writable = {"INSERT"}

    piece = models.ForeignKey(WorksheetPiece, on_delete=models.PROTECT, related_name="readings")
    of = models.CharField(max_length=20, choices=ReadingOf.choices())
    element = models.CharField(max_length=2, default="")
    value = models.BigIntegerField()
    undetected = models.BooleanField(default=False)
    imported = models.ForeignKey(WorksheetImport, null=True, on_delete=models.PROTECT, related_name="readings")
    reason = models.CharField(max_length=300, default="")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = [models.CheckConstraint(condition=models.Q(value__gte=0), name="reading_not_negative")]


class RepeatOrder(models.Model):
    """A lot is assayed again: parallel results of a worksheet lie too far apart, or a determination was not accepted.

    ``metal`` is empty where a determination was not accepted; it can't be accepted any more.
    """

    writable = {"INSERT"}

    worksheet = models.ForeignKey(Worksheet, null=True, on_delete=models.PROTECT, related_name="repeats")
    determination = models.OneToOneField(
        "custody.Determination", null=True, on_delete=models.PROTECT, related_name="repeat"
    )
    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="repeats")
    metal = models.CharField(max_length=2, default="")
    spread_ppm = models.IntegerField(default=0)
    allowed_ppm = models.IntegerField(default=0)
    sentence = models.CharField(max_length=600)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(fields=("worksheet", "lot", "metal"), name="one_repeat_order"),
            models.CheckConstraint(
                condition=models.Q(worksheet__isnull=False) | models.Q(determination__isnull=False),
                name="repeat_order_of_something",
            ),
        ]


class Indication(models.Model):
    """What X-rays or the density of a piece suggest: a range, never a result, never in the book."""

    writable = {"INSERT"}

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="indications")
    method = models.CharField(max_length=60, choices=Method.choices())
    metal = models.CharField(max_length=2)
    low_ppm = models.IntegerField()
    high_ppm = models.IntegerField()
    figures = models.CharField(max_length=300, default="")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
