"""Lists of the sampler's desk."""

import django_tables2 as tables

from custody.web.standing import CLEARANCE_TONES
from custody.web.tables import BaseTable, LotColumn, MassColumn, MomentColumn, StatusColumn


class ApartTable(BaseTable):
    """Parcels that stay out of this melt."""

    caption = "Not in this melt"
    number = LotColumn(verbose_name="Lot", accessor="lot__number")
    form = tables.Column("Form", accessor="lot__get_form_display")
    gross = MassColumn("Gross", accessor="lot__gross_mg")
    why = tables.Column("Why not")
    todo = tables.TemplateColumn(verbose_name="Instead", template_name="staff/sampling/instead.html")

    class Meta:
        orderable = False


class ToMelt(BaseTable):
    caption = "Lots without an assay: to melt, to sample"
    empty_text = "Nothing waits for a melt or a sample."
    number = LotColumn(verbose_name="Lot")
    form = tables.Column("Form", accessor="get_form_display")
    receipt = LotColumn(verbose_name="Receipt", viewname="receipt", accessor="receipt__number")
    standing = StatusColumn(verbose_name="Clearance", accessor="clearance", tones=CLEARANCE_TONES)
    keeper = tables.Column("Held by", accessor="custodian")
    place = tables.Column("At", accessor="place")
    gross = MassColumn("Gross", accessor="gross_mg")
    drawn = tables.Column("Samples")
    todo = tables.TemplateColumn(verbose_name="Next", template_name="staff/sampling/todo.html")

    class Meta:
        orderable = False


class ToSample(BaseTable):
    caption = "Gathered by a clean-out: to sample"
    number = LotColumn(verbose_name="Lot")
    form = tables.Column("Form", accessor="get_form_display")
    keeper = tables.Column("Held by", accessor="custodian")
    place = tables.Column("At", accessor="place")
    gross = MassColumn("Gross", accessor="gross_mg")
    drawn = tables.Column("Samples")
    todo = tables.TemplateColumn(verbose_name="Next", template_name="staff/sampling/gathered_todo.html")

    class Meta:
        orderable = False


class SampleTable(BaseTable):
    number = LotColumn(verbose_name="Sample")
    of = LotColumn(verbose_name="Of lot")
    purpose = tables.Column("For", accessor="now_for")
    seal = tables.Column("Seal", accessor="seal_now", default="—")
    keeper = tables.Column("Held by", accessor="custodian")
    place = tables.Column("At", accessor="place")
    since = MomentColumn("Since", accessor="since")
    gross = MassColumn("Gross", accessor="gross_mg")
    todo = tables.TemplateColumn(verbose_name="Next", template_name="staff/sampling/sample_todo.html")

    class Meta:
        orderable = False


class ToCarry(SampleTable):
    caption = "Samples to carry to the laboratory"
    empty_text = "Every sample for the laboratory is there."

    class Meta(SampleTable.Meta):
        pass


class Remainders(SampleTable):
    caption = "What is left of samples: assayed, or their lot is gone"
    empty_text = "No remainder waits to be decided about."

    class Meta(SampleTable.Meta):
        pass


class Kept(SampleTable):
    caption = "Kept under seal, or for the customer"
    empty_text = "No sample is kept."

    class Meta(SampleTable.Meta):
        pass


class SealTable(BaseTable):
    caption = "Seals"
    seal = tables.Column("Seal")
    purpose = tables.Column("Kept for")
    at = MomentColumn("Sealed")
    by = tables.Column("By")
    note = tables.Column("Note", default="—")

    class Meta:
        orderable = False
