"""A small site that shows every part of the kit, for the browser to look at. No database behind it."""

from datetime import UTC, datetime
from types import SimpleNamespace

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import PermissionDenied
from django.shortcuts import render
from django.urls import path

from custody.documents import flow
from custody.web.forms import (
    BaseForm,
    BaseRows,
    GramsField,
    MomentField,
    PerMilleField,
    RowForm,
    ScanField,
    rows_of,
)
from custody.web.panels import Action, Fact, Holder, Panel, Step
from custody.web.tables import BaseTable, FinenessColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

AT = datetime(2024, 1, 31, 14, 5, tzinfo=UTC)
TONES = {"released": "good", "awaiting release": "wait", "held": "stop", "consumed": "plain"}
FLOW = flow.svg(
    flow.layout(
        [
            flow.Node("a", ("L-1", "doré"), "parcel", 0),
            flow.Node("b", ("L-2", "scrap"), "parcel", 0),
            flow.Node("m", ("L-3", "melt"), "lot", 1),
            flow.Node("bar", ("A000001", "L-4"), "bar", 2),
            flow.Node("s", ("slag",), "loss", 2),
        ],
        [
            flow.Link("a", "m", 800_000),
            flow.Link("b", "m", 450_000),
            flow.Link("m", "bar", 1_000_000),
            flow.Link("m", "s", 250_000),
        ],
    ),
    title="Two parcels flow into one melt, one bar and slag",
    desc="L-1 to L-3; L-2 to L-3; L-3 to A000001; L-3 to slag",
    key="picture",
)


class LotTable(BaseTable):
    caption = "Lots in the melt shop"
    number = LotColumn(verbose_name="Lot")
    standing = StatusColumn(tones=TONES)
    owner = tables.Column(empty_values=(None,))
    since = MomentColumn()
    gross = MassColumn("Gross", footer=lambda table: MassColumn.SHOW["g"](sum(row["gross"] for row in table.data)))
    gold = MassColumn("Au")
    fineness = FinenessColumn("Fineness")


def lots(count=4):
    standings = list(TONES)
    return [
        {
            "number": f"HFR-24-{number:05d}",
            "standing": standings[number % 4],
            "owner": "Tern Valley Placer Cooperative",
            "since": AT,
            "gross": 1_234_567 * (number + 1),
            "gold": 1_000_000 * number or None,
            "fineness": 916_667,
        }
        for number in range(count)
    ]


class MeltForm(BaseForm):
    furnace = forms.ChoiceField(choices=[("", "Choose a furnace"), ("1", "Furnace 1"), ("2", "Furnace 2")])
    at = MomentField(label="When")
    fineness = PerMilleField(label="Fineness expected, ‰", required=False, help_text="From the declared origin.")
    weighed = forms.BooleanField(label="Check-weighed on the large scale", required=False)
    way = forms.ChoiceField(
        label="Way", choices=[("melt", "Melt"), ("granulate", "Granulate")], widget=forms.RadioSelect, initial="melt"
    )
    reason = forms.CharField(label="Remark", widget=forms.Textarea, required=False, max_length=500)


class LineForm(RowForm):
    lot = ScanField(label="Lot")
    gross = GramsField(metal="gross")
    gold = GramsField(metal="Au", required=False)
    silver = GramsField(metal="Ag", required=False)


class LossForm(RowForm):
    cause = forms.ChoiceField(choices=[("slag", "slag"), ("fume", "fume")], initial="slag")
    gross = GramsField(metal="gross", signed=True, zero=True)
    gold = GramsField(metal="Au", required=False, signed=True)


class Inputs(BaseRows):
    title, row_word, add_label, side = "Lots in", "lot in", "Add a lot in", "in"
    note = "Scan each lot; Enter moves on."


class Outputs(BaseRows):
    title, row_word, add_label, side = "Lots out", "lot out", "Add a lot out", "out"


class Losses(BaseRows):
    title, row_word, add_label, side = "Declared losses", "loss", "Add a loss", "loss"
    required = False
    lot_field = ""


def frame(request, **more):
    desks = ["Today", "Counter", "Parties", "Clearance", "Laboratory", "Plant"]
    places = [*desks, "Vault", "Settlement", "Trace", "Book", "People"]
    person = SimpleNamespace(is_authenticated=True, get_full_name="Ann Bell", get_username="ann")
    return {
        "nav": [{"label": name, "url": f"/{name}/", "current": name == "Plant"} for name in places],
        "refinery_name": "Harrow Fell Refinery",
        "role_words": "plant operator, sampler",
        "user": person,
        **more,
    }


def parts(request):
    messages.success(request, "Melt OP-000012 is recorded.")
    messages.error(request, "The lot HFR-24-00003 is held.")
    messages.warning(request, "The run in vessel 2 is overdue.")
    messages.info(request, "The month of January is still open.")
    post = Action(label="Take over", url="/parts/", method="post", tone="main", values={"lot": "L-1"})
    context = frame(
        request,
        actions=[post, Action(label="Label as PDF", url="/pdf/"), Action(label="Hold", url="/hold/", tone="stop")],
        panels=[
            Panel(
                title="Metal",
                facts=[Fact(label=name, mg=mg) for name, mg in (("Gross", 1234567), ("Au", 916667), ("Ag", None))],
                note="By the accepted assay.",
            ),
            Panel(
                title="Standing",
                facts=[
                    Fact(label="Compliance", value="held", tone="stop"),
                    Fact(label="Received", at=AT),
                    Fact(label="Receipt", value="R-00012", url="/receipt/"),
                    Fact(label="Owner", value="Tern Valley Placer Cooperative"),
                    Fact(label="Remark"),
                ],
                actions=[Action(label="History", url="/history/")],
            ),
        ],
        words=[("released", "good"), ("awaiting release", "wait"), ("held", "stop"), ("consumed", "plain")],
        holder=Holder(who="Ann Bell", where="melt shop, furnace 1", since=AT, note="at book, not weighed"),
        steps=[
            Step(label="Receive", state="done", note="31 January", url="/receipt/"),
            Step(label="Melt and sample", state="done"),
            Step(label="Assay", state="now", note="two determinations of four"),
            Step(label="Refine"),
            Step(label="Settle"),
        ],
        cautions=["Wear a face shield and aluminised gloves.", "Dry every mould: water under metal explodes."],
        flow=FLOW,
    )
    return render(request, "kit/parts.html", context)


def entry(request):
    asked = request.POST if request.method == "POST" else None
    form = MeltForm(asked, initial={"at": AT})
    row_sets = [
        rows_of(LineForm, Inputs, extra=2)(asked, prefix="in"),
        rows_of(LineForm, Outputs, extra=2)(asked, prefix="out"),
        rows_of(LossForm, Losses, extra=2)(asked, prefix="loss"),
    ]
    if asked and all(part.is_valid() for part in [form, *row_sets]):
        said = f"recorded {[rows.rows for rows in row_sets]}"
        return render(request, "kit/found.html", frame(request, said=said))
    context = frame(request, form=form, row_sets=row_sets, balance_columns=["gross", "Au", "Ag"])
    return render(request, "kit/entry.html", context)


def listing(request):
    table = LotTable(lots(60))
    tables.RequestConfig(request, paginate={"per_page": 5}).configure(table)
    return render(request, "kit/list.html", frame(request, table=table, none=LotTable([])))


def confirm(request):
    facts = [Fact(label="Operation", value="OP-000012"), Fact(label="Metal that returns, Au", mg=916667)]
    return render(request, "kit/confirm.html", frame(request, facts=facts, form=ReasonForm(request.POST or None)))


class ReasonForm(BaseForm):
    reason = forms.CharField(label="Reason")


def fixed(request):
    return render(request, "kit/fixed.html", frame(request, columns=["gross", "Au", "Ag"]))


def sign_in(request):
    return render(request, "registration/login.html", {"form": AuthenticationForm(request), "next": "/"})


def refuse(request):
    raise PermissionDenied("Releasing a lot is the compliance officer's work.")


def scan(request, number=""):
    said = f"looked for {request.GET.get('code', number)}"
    return render(request, "kit/found.html", frame(request, said=said))


urlpatterns = [
    path("parts/", parts),
    path("entry/", entry),
    path("list/", listing),
    path("confirm/", confirm),
    path("fixed/", fixed),
    path("sign-in/", sign_in, name="login"),
    path("refused/", refuse),
    path("scan/", scan, name="scan"),
    path("lot/<number>/", scan, name="lot"),
    path("out/", scan, name="logout"),
]
