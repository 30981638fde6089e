"""The counter: who delivered and on whose behalf, what was bought there, who fetched metal, and what was amended."""

from django.db import models

from custody.terms import Against, AttachmentKind, Form, IdentityKind, Method, Payment


class Delivery(models.Model):
    """What a receipt says beside its parcels: for whom, which identity was seen, which slip, what it replaces."""

    ledger = True

    operation = models.OneToOneField(
        "custody.Operation", primary_key=True, on_delete=models.PROTECT, related_name="delivery"
    )
    on_behalf_of = models.CharField(max_length=200, default="")
    identity_kind = models.CharField(max_length=30, choices=IdentityKind.choices(), default="")
    identity_number = models.CharField(max_length=60, default="")
    slip = models.OneToOneField("custody.Slip", null=True, on_delete=models.PROTECT, related_name="delivery")
    replaces = models.OneToOneField(
        "custody.Operation", null=True, on_delete=models.PROTECT, related_name="replaced_by"
    )


class Slip(models.Model):
    """One numbered paper slip, printed in advance for a power cut. It ends used by one receipt, or spoiled."""

    writable = {"INSERT"}

    number = models.CharField(max_length=20, unique=True)
    printed_at = models.DateTimeField()
    printed_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    document = models.ForeignKey("custody.Document", null=True, on_delete=models.PROTECT, related_name="slips")
    request_key = models.UUIDField(null=True, db_index=True)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.number


class SpoiledSlip(models.Model):
    """A slip that will never be entered, and why."""

    writable = {"INSERT"}

    slip = models.OneToOneField(Slip, primary_key=True, on_delete=models.PROTECT, related_name="spoiled")
    reason = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")


class RefusedParcel(models.Model):
    """Metal that was brought and not taken in: never in the book, but who brought what, and why not, is kept."""

    writable = {"INSERT"}

    receipt = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="refused")
    party = models.ForeignKey("custody.Party", null=True, on_delete=models.PROTECT, related_name="+")
    brought_by = models.CharField(max_length=200)
    identity_kind = models.CharField(max_length=30, choices=IdentityKind.choices(), default="")
    identity_number = models.CharField(max_length=60, default="")
    form = models.CharField(max_length=20, choices=Form.choices())
    description = models.CharField(max_length=300, default="")
    scale = models.ForeignKey("custody.Scale", null=True, on_delete=models.PROTECT, related_name="+")
    gross_mg = models.BigIntegerField(null=True)
    reason = models.CharField(max_length=300)
    place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)


class Purchase(models.Model):
    """Metal bought at the counter and paid at once: the receipt that it came with is settled by it."""

    ledger = True

    receipt = models.OneToOneField(
        "custody.Operation", primary_key=True, on_delete=models.PROTECT, related_name="purchase"
    )
    currency = models.CharField(max_length=3)
    total = models.DecimalField(max_digits=16, decimal_places=2)
    payment = models.CharField(max_length=20, choices=Payment.choices())
    reference = models.CharField(max_length=120, default="")
    price_source = models.CharField(max_length=120)


class PurchaseLine(models.Model):
    """One parcel bought: its indicated fineness, the price of a fine gram, the share paid, the amount."""

    ledger = True

    purchase = models.ForeignKey(Purchase, on_delete=models.PROTECT, related_name="lines")
    lot = models.OneToOneField("custody.Lot", on_delete=models.PROTECT, related_name="bought")
    metal = models.CharField(max_length=2)
    net_mg = models.BigIntegerField()
    indicated_ppm = models.IntegerField()
    method = models.CharField(max_length=60, choices=Method.choices())
    price_per_g = models.DecimalField(max_digits=16, decimal_places=4)
    payable_ppm = models.IntegerField()
    amount = models.DecimalField(max_digits=16, decimal_places=2)

    class Meta:
        ordering = ("id",)


class Collection(models.Model):
    """By what right metal left the gate, by which order, who fetched it, and which identity was seen."""

    ledger = True

    operation = models.OneToOneField(
        "custody.Operation", primary_key=True, on_delete=models.PROTECT, related_name="collection"
    )
    against = models.CharField(max_length=20, choices=Against.choices())
    order = models.CharField(max_length=120)
    collector = models.CharField(max_length=200)
    identity_kind = models.CharField(max_length=30, choices=IdentityKind.choices())
    identity_number = models.CharField(max_length=60)
    carrier = models.CharField(max_length=120, default="")


class Amendment(models.Model):
    """What was declared wrongly on a receipt and what is right; what was first written stays.

    ``after_movement`` is the last line of the book before it, so that what was mixed before is judged by what was
    declared then.
    """

    ledger = True

    receipt = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="amendments")
    lot = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="amendments")
    field = models.CharField(max_length=30)
    before = models.CharField(max_length=300)
    after = models.CharField(max_length=300)
    reason = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    countersigned_by = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT, related_name="+")
    countersigned_at = models.DateTimeField(null=True)
    countersign_meaning = models.CharField(max_length=200, default="")
    request_key = models.UUIDField(null=True)
    after_movement = models.BigIntegerField()

    class Meta:
        ordering = ("id",)


class Attachment(models.Model):
    """A photograph or a paper of a delivery, kept by its SHA-256. What it is was read from its bytes, not its name."""

    writable = {"INSERT"}

    receipt = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="attachments")
    lot = models.ForeignKey("custody.Lot", null=True, on_delete=models.PROTECT, related_name="attachments")
    kind = models.CharField(max_length=20, choices=AttachmentKind.choices())
    title = models.CharField(max_length=200)
    content_type = models.CharField(max_length=60)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(fields=("receipt", "sha256"), name="one_attachment")]

    def __str__(self) -> str:
        return self.title
