"""The book: every operation, narrowed by kind, days, lot and person."""

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from custody.models import User
from custody.queries import book as queries
from custody.roles import Verb
from custody.staff.desk.tables import OperationTable
from custody.terms import Kind
from custody.web.access import needs
from custody.web.forms import DayField, KitForm, ScanField

OPERATIONS_A_PAGE = 50


class BookFilter(KitForm):
    """What of the book to show; blank shows all of it."""

    mark_optional = False

    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "every kind"), *Kind.choices()])
    first = DayField(label="From", required=False)
    last = DayField(label="To", required=False)
    lot = ScanField(label="Lot", required=False)
    person = forms.ModelChoiceField(
        label="Person", required=False, empty_label="everybody", queryset=User.objects.filter(party__isnull=True)
    )

    def clean(self):
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if first and last and last < first:
            self.add_error("last", f"The span ends before it begins. Give a day from {first} on.")

    @property
    def question(self) -> queries.Question:
        """What is asked; a field that can't be read asks nothing."""
        told = {name: value for name, value in self.cleaned_data.items() if value and name != "person"}
        person = self.cleaned_data.get("person")
        return queries.Question(**told, person=person.pk if person else None)


@require_GET
@needs(Verb.READ_BOOK)
def book(request: HttpRequest) -> HttpResponse:
    """The list of operations, newest first."""
    form = BookFilter(request.GET if request.GET else None)
    asked = form.question if form.is_valid() else queries.Question()
    table = OperationTable(queries.operations(request.user, asked))
    tables.RequestConfig(request, paginate={"per_page": OPERATIONS_A_PAGE}).configure(table)
    return render(request, "staff/desk/book.html", {"form": form, "table": table})
