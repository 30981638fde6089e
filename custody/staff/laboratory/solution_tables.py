"""Lists of the assays of solutions, shared by the laboratory's board, a solution's page and its run."""

from typing import ClassVar

import django_tables2 as tables

from custody.calc.solutions import hundredths, litres
from custody.models import SolutionAssay
from custody.queries.tanks import figures_of
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

TONES = {"waiting": "wait", "accepted": "good", "reversed": "stop"}


def standing_of(assay: SolutionAssay) -> str:
    """Where an assay stands, in a word."""
    acceptance = getattr(assay, "acceptance", None)
    if acceptance is None:
        return "waiting"
    return "reversed" if getattr(acceptance.operation, "reversed_by", None) else "accepted"


def figures_in_words(assay: SolutionAssay) -> str:
    """What a litre holds: ``Cu 1.900, Zn <0.050 mg/L``."""
    return ", ".join(f"{substance} {found.words}" for substance, found in figures_of(assay).items())


class SolutionAssays(BaseTable):
    caption = "Assays of this solution, the latest first"
    empty_text = "It was not assayed yet."
    number = LotColumn(verbose_name="Assay", viewname="solution-assay")
    at = MomentColumn("Assayed")
    volume = FigureColumn("Volume", unit="L", accessor="volume_ml")
    density = FigureColumn("Density", unit="g/mL", accessor="density_mg_ml")
    ph = FigureColumn("pH", accessor="ph_centi", default="—")
    figures = tables.Column("Found, mg/L", empty_values=())
    by = tables.Column("By")
    word = StatusColumn(verbose_name="Standing", empty_values=(), tones=TONES)

    class Meta:
        orderable = False

    def render_volume(self, value):
        return litres(value)

    render_density = render_volume

    def render_ph(self, value):
        return hundredths(value)

    def render_figures(self, record):
        return figures_in_words(record)

    def render_word(self, record, column):
        return column.render(standing_of(record))


class WaitingSolutions(SolutionAssays):
    caption = "Assays of solutions waiting for a second person"
    empty_text = "No solution waits for acceptance."
    lot = LotColumn(verbose_name="Solution", viewname="solution", accessor="lot__number")
    place = tables.Column("At", accessor="lot__place")

    class Meta(SolutionAssays.Meta):
        exclude: ClassVar = ("word",)
        sequence = ("number", "lot", "place", "...")


class AssayChanges(BaseTable):
    caption = "What accepting it changes in the book"
    what = tables.Column("Of")
    book = MassColumn("By the book", accessor="book_mg")
    found = MassColumn("By the assay", accessor="found_mg")
    change = MassColumn("Difference", accessor="change_mg")

    class Meta:
        orderable = False


class StandingSolutions(BaseTable):
    caption = "Contents of vessels and solutions that can be assayed"
    empty_text = "There is no solution."
    number = LotColumn(verbose_name="Solution", viewname="solution")
    place = tables.Column("At", accessor="place")
    form = tables.Column("Form", accessor="get_form_display")
    gross = MassColumn("Gross", accessor="gross_mg")
    keeper = tables.Column("Held by", accessor="custodian")

    class Meta:
        orderable = False
