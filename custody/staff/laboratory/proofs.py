"""The control chart of proof assays: whether the furnace, the acid and the balance still do what they did."""

from fractions import Fraction

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.calc.assay import format_milligrams
from custody.documents import chart as drawing
from custody.documents.chart import signed
from custody.queries import proofs
from custody.roles import Verb
from custody.web.access import needs
from custody.web.panels import Action
from custody.web.tables import BaseTable, FigureColumn, MomentColumn, StatusColumn

#: Metals whose proofs are charted.
METALS = ("Au", "Ag")
#: More points than this are not told apart: the last ones are drawn.
DRAWN = 120
IN_CONTROL = "in control"
UNIT = "‰ of the metal taken"


class VerdictColumn(StatusColumn):
    """What the chart says of one proof."""

    def render(self, value):
        self.tones = {value: "good" if value == IN_CONTROL else "stop"}
        return super().render(value)


class WeightColumn(FigureColumn):
    """Micrograms as the assay balance shows them."""

    unit = "mg"
    show = staticmethod(format_milligrams)


class SurchargeColumn(FigureColumn):
    """An exact surcharge, three decimals, with its sign."""

    unit = "‰"
    show = staticmethod(signed)


class ProofTable(BaseTable):
    """Each proof with its figures, the last one first."""

    caption = "Proofs"
    empty_text = "No proof was weighed through yet."
    number = FigureColumn("No.", accessor="point__number")
    worksheet = tables.Column("Worksheet", accessor="point__worksheet")
    position = FigureColumn("Position", accessor="point__position")
    proof_metal = tables.Column("Proof metal", accessor="point__proof_metal")
    at = MomentColumn("Weighed", accessor="point__at")
    taken = WeightColumn("Taken", accessor="point__taken_ug")
    found = WeightColumn("Found", accessor="point__found_ug")
    surcharge = SurchargeColumn("Surcharge", accessor="point__surcharge")
    word = VerdictColumn(verbose_name="Chart")

    class Meta:
        orderable = False


@require_safe
@needs(Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)
def proof_chart(request: HttpRequest) -> HttpResponse:
    """The chart of one metal's proofs, its signals in words, and every proof."""
    metal = request.GET.get("metal", "Au")
    found = proofs.proof_chart(metal if metal in METALS else "Au")
    rows = [{"point": point, "word": found.signals.get(point.number, IN_CONTROL)} for point in reversed(found.points)]
    table = ProofTable(rows)
    tables.RequestConfig(request, paginate={"per_page": 40}).configure(table)
    return render(
        request,
        "staff/laboratory/proofs.html",
        {
            "metal": found.metal,
            "picture": _picture(found),
            "last": _last(found),
            "signals": _sentences(found),
            "table": table,
            "others": [Action(label=f"Proofs of {one}", url=f"{reverse('proofs')}?metal={one}") for one in METALS],
            "fewest": proofs.FEWEST,
            "baseline": proofs.BASELINE,
        },
    )


def _picture(found: proofs.ProofChart) -> str:
    if found.individuals is None:
        return ""
    single, average = found.individuals, found.average
    start = max(len(found.points) - DRAWN, 0)
    edges = tuple((Fraction(low), Fraction(high)) for low, high in average.limits(6))
    chart = drawing.Chart(
        values=single.values[start:],
        centre=single.centre,
        limits=(single.lower, single.upper),
        smooth=average.averages[start:],
        smooth_limits=edges[start:],
        signals=frozenset(number - start for number in found.signals if number > start),
        unit=UNIT,
        first=start + 1,
    )
    return drawing.svg(chart, title=f"Proofs of {found.metal}", desc=" ".join(_sentences(found)), key="proofs")


def _last(found: proofs.ProofChart) -> str:
    """Where the process stands after the last proof, in one sentence."""
    if found.individuals is None:
        return ""
    number = len(found.points)
    if number in found.signals:
        return f"Proof {number} is out of control: {found.signals[number]}. Look into it before the next charge."
    return f"Proof {number} is in control."


def _sentences(found: proofs.ProofChart) -> list[str]:
    if found.individuals is None:
        return []
    single = found.individuals
    limits = f"Centre {signed(single.centre)} ‰, limits {signed(single.lower)} to {signed(single.upper)} ‰."
    return [limits, *(f"Proof {number}: {words}." for number, words in found.signals.items())]
