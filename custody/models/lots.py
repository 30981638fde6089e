"""Receipts' parcels, lots, the lot graph, and the provenance of every milligram.

How provenance is stored (the reason is in DEVELOPERS.md): a lot whose metal all comes from one origin carries
that origin's id. Every other operation stores one *vector*, the origins and milligrams of what was mixed, in chunks
of 128; its outputs and losses are slices of that vector and store two bits an origin (movement.codes).
"""

from django.contrib.postgres.fields import ArrayField
from django.db import models

from custody.models.fields import Amounts
from custody.terms import Category, Clearance, CustodyModel, Form, OriginKind


class Lot(Amounts):
    """Metal kept apart under one number. The amounts are the book; only custody_post() changes them."""

    ledger = True

    number = models.CharField(max_length=40)
    form = models.CharField(max_length=20, choices=Form.choices())
    created_by = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="created_lots")
    receipt = models.ForeignKey(
        "custody.Operation", null=True, on_delete=models.PROTECT, related_name="receipt_lots", db_index=False
    )
    declared_origin = models.CharField(max_length=200, default="")
    amended_origin = models.CharField(max_length=200, null=True)
    owner = models.ForeignKey("custody.Party", null=True, on_delete=models.PROTECT, related_name="lots", db_index=False)
    pooled = models.BooleanField(default=False)
    custody_model = models.CharField(max_length=20, choices=CustodyModel.choices(), default=CustodyModel.MASS_BALANCE)
    clearance = models.CharField(max_length=20, choices=Clearance.choices(), default=Clearance.AWAITING)
    valued = models.BooleanField(default=False)
    run = models.ForeignKey("custody.Run", null=True, on_delete=models.PROTECT, related_name="lots", db_index=False)
    custodian = models.ForeignKey(
        "custody.User", null=True, on_delete=models.PROTECT, related_name="lots", db_index=False
    )
    place = models.ForeignKey("custody.Place", null=True, on_delete=models.PROTECT, related_name="lots", db_index=False)
    last_at = models.DateTimeField()
    last_movement = models.BigIntegerField()
    content_movement = models.BigIntegerField()

    class Meta:
        ordering = ("id",)
        # Lists of lots that hold mass, or that have what most lots lack: every other lot costs no index entry.
        constraints = [models.UniqueConstraint(fields=("number",), name="lot_number")]
        indexes = [
            models.Index(fields=("place", "id"), name="lot_in_place", condition=models.Q(gross_mg__gt=0)),
            models.Index(fields=("custodian", "id"), name="lot_of_custodian", condition=models.Q(gross_mg__gt=0)),
            models.Index(fields=("receipt",), name="lot_of_receipt", condition=models.Q(receipt__isnull=False)),
            models.Index(fields=("owner",), name="lot_of_owner", condition=models.Q(owner__isnull=False)),
            models.Index(fields=("run",), name="lot_of_run", condition=models.Q(run__isnull=False)),
        ]

    def __str__(self) -> str:
        return self.number


class Parcel(models.Model):
    """What was declared of one parcel when it crossed the counter. The measured figures are the lot's."""

    ledger = True

    lot = models.OneToOneField(Lot, primary_key=True, on_delete=models.PROTECT, related_name="parcel")
    line = models.PositiveSmallIntegerField()
    category = models.CharField(max_length=40, choices=Category.choices(), default="")
    country = models.CharField(max_length=2, default="")
    mine = models.CharField(max_length=200, default="")
    pieces = models.PositiveIntegerField(null=True)
    description = models.CharField(max_length=300, default="")
    seal = models.CharField(max_length=60, default="")
    declared_gross_mg = models.BigIntegerField(null=True)
    declared_au_ppm = models.IntegerField(null=True)
    declared_ag_ppm = models.IntegerField(null=True)
    declared_words = models.CharField(max_length=40, default="")
    export_paper = models.CharField(max_length=120, default="")
    transport_paper = models.CharField(max_length=120, default="")
    returned_from = models.ForeignKey("custody.Bar", null=True, on_delete=models.PROTECT, related_name="returned_as")

    def __str__(self) -> str:
        return self.lot.number


class Edge(models.Model):
    """The lot graph: ``child`` was made, in part, from ``parent``. A view of the movements (sql/lot_graph.sql)."""

    ledger = True

    pk = models.CompositePrimaryKey("operation_id", "parent_id", "child_id")
    parent = models.ForeignKey(Lot, on_delete=models.DO_NOTHING, related_name="child_edges")
    child = models.ForeignKey(Lot, on_delete=models.DO_NOTHING, related_name="parent_edges")
    operation = models.ForeignKey("custody.Operation", on_delete=models.DO_NOTHING, related_name="edges")

    class Meta:
        managed = False
        db_table = "custody_edge"


class Origin(models.Model):
    """Where milligrams come from: a parcel, or a measured gain. Ids ascend in the order received."""

    ledger = True

    kind = models.CharField(max_length=12, choices=[(k, k) for k in OriginKind])
    lot = models.OneToOneField(Lot, null=True, on_delete=models.PROTECT, related_name="origin")
    operation = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="origins")


class OriginReceipt(Amounts):
    """What an origin was received as, event by event; a reversal's row is negative. Gross while unvalued."""

    ledger = True

    origin = models.ForeignKey(Origin, on_delete=models.PROTECT, related_name="receipts")
    operation = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="origin_receipts")


class Vector(models.Model):
    """One chunk of a pool: origins (ascending) and milligrams of one metal of what an operation mixed.

    ``line`` 0 is the pool of the operation; another line is the content of the lot that this movement split.
    ``column_no``: 0 gross (unvalued lots), 1 Au, 2 Ag, 3 Pt, 4 Pd, 5 Cu. ``total_mg`` is the whole vector's sum.
    ``passing`` marks what a vessel holds, from charge to draw to the next charge: it has the most origins, is soon
    taken over by the next, and is found by its vessel. The index of origins leaves it out.
    """

    ledger = True

    operation = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="vectors", db_index=False)
    line = models.SmallIntegerField()
    column_no = models.SmallIntegerField()
    chunk = models.IntegerField()
    total_mg = models.BigIntegerField()
    origins = ArrayField(models.IntegerField())  # half the bytes: no chunk grows so long that it is kept packed
    mgs = ArrayField(models.BigIntegerField())
    passing = models.BooleanField(db_default=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("operation", "line", "column_no", "chunk"), name="one_chunk")]
