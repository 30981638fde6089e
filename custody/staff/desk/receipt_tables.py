"""Lists of a receipt's page: what was weighed, what was declared, what is attached, what was amended."""

import django_tables2 as tables
from django.template.defaultfilters import filesizeformat
from django.template.loader import render_to_string

from custody.queries.amendments import label_of, words
from custody.queries.receipt_life import source_words
from custody.templatetags.metal import UNKNOWN, permille
from custody.web.tables import (
    BaseTable,
    FigureColumn,
    FinenessColumn,
    LotColumn,
    MassColumn,
    MomentColumn,
    StatusColumn,
)


class WeighedTable(BaseTable):
    """The weighing of each parcel at the counter, with who answers for it."""

    caption = "Weighed at the counter"

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    scale = tables.Column(accessor="weighing__scale__code", verbose_name="Scale", orderable=False)
    gross = MassColumn("Gross", accessor="weighing__gross_mg", orderable=False)
    tare = MassColumn("Tare", accessor="weighing__tare_mg", orderable=False)
    net = MassColumn("Net", accessor="weighing__net_mg", orderable=False)
    how = StatusColumn(
        accessor="weighing",
        verbose_name="Reading",
        orderable=False,
        tones={"keyed by hand": "wait", "sent by the scale": "good"},
    )
    by = tables.Column(accessor="weighing__by", verbose_name="Who", orderable=False)
    at = MomentColumn(accessor="weighing__at", verbose_name="When", orderable=False)

    def render_how(self, value):
        word = "keyed by hand" if value.keyed else "sent by the scale"
        return self.columns["how"].column.render(word)


class DeclaredTable(BaseTable):
    """What was declared of each parcel beside its weight, and what it may hold by that."""

    caption = "As declared, not checked"

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    fineness = tables.Column(accessor="parcel", verbose_name="Fineness", orderable=False)
    ag_ppm = FinenessColumn("Ag", accessor="parcel__declared_ag_ppm", orderable=False)
    source = tables.Column(accessor="parcel", verbose_name="From", orderable=False)
    export_paper = tables.Column(accessor="parcel__export_paper", verbose_name="Export paper", orderable=False)
    transport_paper = tables.Column(accessor="parcel__transport_paper", verbose_name="Transport paper", orderable=False)
    estimates = tables.Column(verbose_name="Estimate", orderable=False)

    def render_fineness(self, value):
        return value.declared_words or permille(value.declared_au_ppm)

    def render_source(self, value):
        return source_words(value) or UNKNOWN


class AttachmentTable(BaseTable):
    caption = "Attachments"
    empty_text = "Nothing is attached."

    title = tables.Column(verbose_name="Attachment", orderable=False)
    kind = tables.Column(accessor="get_kind_display", verbose_name="What", orderable=False)
    lot = LotColumn(accessor="lot__number", verbose_name="Of parcel", orderable=False)
    size = FigureColumn("Size", orderable=False)
    at = MomentColumn(verbose_name="Attached", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)

    def render_title(self, record):
        return render_to_string("staff/desk/attachment.html", {"attachment": record})

    def render_size(self, value):
        return filesizeformat(value)


class AmendmentTable(BaseTable):
    """What was first written stays; what is right stands beside it."""

    caption = "Amended"

    lot = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    field = tables.Column(orderable=False)
    before = tables.Column(verbose_name="Was written", empty_values=(), orderable=False)
    after = tables.Column(verbose_name="Is right", empty_values=(), orderable=False)
    reason = tables.Column(orderable=False)
    by = tables.Column(verbose_name="Who", orderable=False)
    countersigned_by = tables.Column(verbose_name="Countersigned by", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)

    def render_field(self, value):
        return label_of(value)

    def render_before(self, value, record):
        return words(record.field, value)

    def render_after(self, value, record):
        return words(record.field, value)
