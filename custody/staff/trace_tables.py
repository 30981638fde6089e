"""Lists of the trace desk."""

import django_tables2 as tables

from custody.calc.fineness import format_percent
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn


class ShareColumn(FigureColumn):
    """Parts per million of a whole, shown in per cent."""

    unit = "%"
    show = staticmethod(format_percent)


class OriginTable(BaseTable):
    """Origins of one metal of a lot."""

    caption = "Origins"
    origin = LotColumn(verbose_name="Parcel", default="", orderable=False)
    what = tables.Column(verbose_name="Category", orderable=False)
    party = tables.Column(verbose_name="Party", orderable=False)
    receipt = LotColumn(verbose_name="Receipt", viewname="operation", default="", orderable=False)
    country = tables.Column(verbose_name="Country", orderable=False)
    mg = MassColumn("Mass", orderable=False)
    share_ppm = ShareColumn("Share", orderable=False)


class FateTable(BaseTable):
    """Fates of one metal of a parcel."""

    caption = "Fates"
    fate = tables.Column(verbose_name="Fate", orderable=False)
    lot = LotColumn(verbose_name="Lot", default="", orderable=False)
    words = tables.Column(verbose_name="Serial, cause or operation", orderable=False)
    mg = MassColumn("Mass", orderable=False)
    share_ppm = ShareColumn("Share", orderable=False)
