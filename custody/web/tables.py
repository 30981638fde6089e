"""Bases of every list: a ledger page with ruled cash columns, which becomes a stack of cards on a narrow screen."""

from typing import ClassVar

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse

from custody.templatetags import metal


class BaseTable(tables.Table):
    """A list. ``caption`` names it on the page and to screen readers; ``empty_text`` says what is not there."""

    caption = ""
    empty_text = "Nothing here."

    def __init__(self, *args, template_name: str = "ui/table.html", **kwargs):
        # Not in Meta: a table with a Meta of its own would silently lose both.
        kwargs.setdefault("empty_text", type(self).empty_text)
        super().__init__(*args, template_name=template_name, **kwargs)


class FigureColumn(tables.Column):
    """Right-aligned figures; the unit stands in the header."""

    unit = ""
    show = staticmethod(str)

    def __init__(self, verbose_name: str, *, unit: str | None = None, **kwargs):
        self.unit = self.unit if unit is None else unit
        attrs = kwargs.pop("attrs", {})
        for part in ("th", "td", "tf"):
            attrs = attrs | {part: {"class": "mass"} | attrs.get(part, {})}
        super().__init__(verbose_name, attrs=attrs, **kwargs)

    @property
    def header(self) -> str:
        return f"{self.verbose_name}, {self.unit}" if self.unit else self.verbose_name

    def render(self, value):
        return self.show(value)


class MassColumn(FigureColumn):
    """Integer milligrams, shown in grams, kilograms or troy ounces ("g", "kg", "ozt")."""

    SHOW: ClassVar = {"g": metal.grams, "kg": metal.kilograms, "ozt": metal.ounces}
    unit = "g"

    def show(self, value):
        return self.SHOW[self.unit](value)


class FinenessColumn(FigureColumn):
    """Integer parts per million, shown in parts per thousand."""

    unit = "‰"
    show = staticmethod(metal.permille_figure)


class ResultColumn(FinenessColumn):
    """What assays found, with all three decimals: one under the other they are compared."""

    show = staticmethod(metal.thousandths)


class MomentColumn(tables.Column):
    """An aware datetime, shown as local date and minute."""

    def render(self, value):
        return render_to_string("ui/time.html", {"at": value})


class LotColumn(tables.Column):
    """A lot, bar or receipt by its number, leading to its page: ``viewname`` with the number as ``argument``."""

    def __init__(self, *args, viewname: str = "lot", argument: str = "number", **kwargs):
        self.viewname, self.argument = viewname, argument
        super().__init__(*args, **kwargs)

    def render(self, value):
        url = reverse(self.viewname, kwargs={self.argument: value})
        return render_to_string("ui/lot.html", {"number": value, "url": url})


def paper_link(paper) -> str:
    """An issued paper by its title, leading to its download."""
    return render_to_string("ui/paper.html", {"paper": paper})


class PaperColumn(tables.Column):
    """The title of an issued paper (the row), leading to its download."""

    def render(self, value, record):
        return paper_link(record)


class StatusColumn(tables.Column):
    """A word of standing. ``tones`` gives the shape and colour of each word; the word is always there."""

    def __init__(self, *args, tones: dict[str, str] | None = None, **kwargs):
        self.tones = tones or {}
        super().__init__(*args, **kwargs)

    def render(self, value):
        word = getattr(value, "label", value)
        return render_to_string("ui/status.html", {"word": word, "tone": self.tones.get(value, "plain")})
