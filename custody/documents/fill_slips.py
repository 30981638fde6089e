"""Blank paper slips with the house at their head."""

from custody.documents.fill_receipt import house_of
from custody.documents.slips import PaperSlip, SlipSheet
from custody.models import Refinery


def slip_sheet(numbers: list[str]) -> SlipSheet:
    """One blank slip for each number. What is written on it is written by hand, and so is the time."""
    house = house_of(Refinery.objects.get())
    return SlipSheet(tuple(PaperSlip(house, number, number) for number in numbers))
