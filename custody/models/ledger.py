"""The book: operations, their movements, runs, periods and the rules that the database obeys."""

from django.contrib.postgres.fields import ArrayField
from django.db import models

from custody.models.fields import Amounts, BitArrayField
from custody.terms import Kind, Side, Source


class Period(models.Model):
    """A month of the refinery's local days; nothing is recorded with a date in a closed one (I8)."""

    ledger = True

    month = models.DateField(primary_key=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT)


class RuleRow(models.Model):
    """PostgreSQL's copy of calc/rules.py, made at every migrate; nobody edits it."""

    ledger = True

    kind = models.CharField(max_length=30, primary_key=True)
    causes = ArrayField(models.CharField(max_length=30))
    additions = ArrayField(models.CharField(max_length=30))
    lost = ArrayField(models.CharField(max_length=2))
    band_ppm = models.IntegerField()
    tolerance_ppm = models.IntegerField()
    grace_mg = models.BigIntegerField()
    gain_ppm = models.IntegerField()
    hours = models.IntegerField()
    product_metal = models.CharField(max_length=2, default="")
    product_forms = ArrayField(models.CharField(max_length=30), default=list)
    least_yield_ppm = models.IntegerField(default=0)

    class Meta:
        db_table = "custody_rule"


class Run(models.Model):
    """A wet or long step: from the first charge of a vessel to the finish that empties it."""

    ledger = True

    number = models.CharField(max_length=40, unique=True)
    step = models.CharField(max_length=30, choices=Kind.choices())
    vessel = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="runs")
    opened_by = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="+")
    content = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="+")
    finished_by = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.number


class Operation(models.Model):
    """One balanced event, whole or not at all. Written last, it seals its movements."""

    ledger = True

    number = models.CharField(max_length=40)
    kind = models.CharField(max_length=30, choices=Kind.choices())
    at = models.DateTimeField()
    day = models.DateField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="operations", db_index=False)
    source = models.CharField(max_length=10, choices=[(s, s) for s in Source])
    party = models.ForeignKey("custody.Party", null=True, on_delete=models.PROTECT, db_index=False)
    place = models.ForeignKey("custody.Place", null=True, on_delete=models.PROTECT, db_index=False)
    run = models.ForeignKey(Run, null=True, on_delete=models.PROTECT, related_name="operations", db_index=False)
    reason = models.TextField(default="")
    about = models.DateField(null=True)
    basis = models.CharField(max_length=10, default="")
    delivered_by = models.CharField(max_length=200, default="")
    reverses = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="reversed_by")
    acceptance = models.ForeignKey("custody.Acceptance", null=True, on_delete=models.PROTECT, db_index=False)
    over_tolerance = models.BooleanField(default=False)
    countersigned_by = models.ForeignKey(
        "custody.User", null=True, on_delete=models.PROTECT, related_name="countersigned", db_index=False
    )
    countersigned_at = models.DateTimeField(null=True)
    countersign_meaning = models.TextField(default="")
    request_key = models.UUIDField(null=True)
    request_sha256 = models.BinaryField(null=True)
    movement_count = models.SmallIntegerField()
    canonical = models.TextField()
    sha256 = models.BinaryField()

    class Meta:
        ordering = ("id",)
        # What most operations leave empty costs them no index entry.
        constraints = [
            models.UniqueConstraint(fields=("number",), name="operation_number"),
            models.UniqueConstraint(
                fields=("request_key",), name="one_request", condition=models.Q(request_key__isnull=False)
            ),
        ]
        indexes = [
            models.Index(fields=("day",), name="operation_day"),
            models.Index(fields=("party",), name="operation_of_party", condition=models.Q(party__isnull=False)),
            models.Index(fields=("run",), name="operation_of_run", condition=models.Q(run__isnull=False)),
            models.Index(
                fields=("acceptance",), name="operation_of_acceptance", condition=models.Q(acceptance__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return self.number


_COPIED = {"null": True, "on_delete": models.PROTECT, "related_name": "+", "db_index": False}


class Movement(Amounts):
    """One line of an operation.

    Sign convention: amounts are positive on the side where they stand, and in + add = out + loss. A gain over
    book is a negative loss. A reversal repeats the lines of what it reverses with the sign turned.
    ``whole`` marks an in line that emptied its lot; ``valued`` whether the lot's metals were known.
    ``content_before`` is the movement that last set the lot's content before this line.
    ``origin`` is set when everything in the line is one origin's; otherwise ``spread`` says of which vector the
    line is a slice: 1 the operation's pool, 2 part of the lot that this line split, 3 the vector of this very line.
    """

    ledger = True

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="movements", db_index=False)
    line = models.SmallIntegerField()
    side = models.CharField(max_length=4, choices=[(s, s) for s in Side])
    lot = models.ForeignKey(
        "custody.Lot", null=True, on_delete=models.PROTECT, related_name="movements", db_index=False
    )
    what = models.CharField(max_length=30, default="")
    words = models.CharField(max_length=300, default="")
    valued = models.BooleanField(default=True)
    whole = models.BooleanField(default=False)
    # Copied from the lot, whose own references the database checks.
    custodian = models.ForeignKey("custody.User", db_constraint=False, **_COPIED)
    place = models.ForeignKey("custody.Place", db_constraint=False, **_COPIED)
    content_before = models.BigIntegerField(null=True)
    spread = models.SmallIntegerField(default=0)
    origin = models.ForeignKey("custody.Origin", db_constraint=False, **_COPIED)
    codes = BitArrayField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("operation", "line"), name="one_line")]
        indexes = [
            models.Index(fields=("lot", "content_before"), name="movement_of_lot"),
            models.Index(fields=("origin",), name="movement_of_origin", condition=models.Q(origin__isnull=False)),
        ]
