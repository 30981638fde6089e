"""Named refusals: what the book will not do, one small class each, with the sentence a person reads.

PostgreSQL refuses by name (constraint name and figures); ``refusal_named`` finds the class. ``field`` says which
input is to be mended, ``status`` how the HTTP API answers (409 conflict with the book, 422 breaks a rule).
"""

from decimal import Decimal
from typing import Any


def _grams(mg: int) -> str:
    return f"{Decimal(mg).scaleb(-3):.3f}"


class Refusal(Exception):
    """The book refuses. ``code`` names the rule, ``detail`` the figures (masses in milligrams)."""

    code = "refused"
    status = 422
    field = ""
    template = "{message}"

    def __init__(self, message: str = "", **detail: Any) -> None:
        self.message = message
        self.detail = detail
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """What is wrong, where, and what would be right."""
        words = {"message": self.message, **self.detail}
        words |= {key[:-3] + "_g": _grams(value) for key, value in self.detail.items() if _is_mass(key, value)}
        try:
            return self.template.format(**words)
        except (KeyError, IndexError):
            return self.message or self.code


def _is_mass(key: str, value: Any) -> bool:
    return key.endswith("_mg") and isinstance(value, int)


class Conflict(Refusal):
    """The request is sound, but the book says otherwise now."""

    status = 409


class NotAllowed(Refusal):
    """This person may not do this."""

    code = "not_allowed"
    status = 403
    template = "{message}"


class Unbalanced(Refusal):
    code = "balance"

    @property
    def missing_mg(self) -> dict[str, int]:
        """In + added − out − losses, per column, milligrams."""
        return {k: v for k, v in self.detail.get("missing_mg", {}).items() if v}

    @property
    def sentence(self) -> str:
        parts = [
            f"{_grams(abs(mg))} g of {'gross mass' if what == 'gross' else what} "
            + ("still to explain" if mg > 0 else "more goes out than came in")
            for what, mg in self.missing_mg.items()
        ]
        return (
            "In + added does not equal out + declared losses: "
            + "; ".join(parts)
            + ". Weigh again, or declare the difference by its cause."
        )


class Overdraw(Conflict):
    code = "overdraw"
    field = "inputs"

    @property
    def sentence(self) -> str:
        lot = self.detail.get("lot", "The lot")
        if not self.detail.get("book_mg"):
            return f"Lot {lot} does not hold that: nothing of it is left in the book. Check the number."
        return (
            f"Lot {lot} holds {_grams(self.detail['book_mg'])} g in the book, "
            f"{_grams(self.detail.get('missing_mg', 0))} g less than asked. Take less, or correct the book first."
        )


def _refusal(name: str, code: str, template: str, *, base: type[Refusal] = Refusal, field: str = "") -> type[Refusal]:
    return type(name, (base,), {"code": code, "template": template, "field": field, "__doc__": template})


AppendOnly = _refusal("AppendOnly", "append_only", "{message}", base=Conflict)
Sealed = _refusal("Sealed", "sealed", "{message}", base=Conflict)
UnknownLot = _refusal(
    "UnknownLot", "unknown_lot", "There is no lot {lot}. Check the number, or scan the label.", field="inputs"
)
LotTwice = _refusal("LotTwice", "lot_twice", "Lot {lot} is named twice. Name each lot once.", field="inputs")
LotTaken = _refusal(
    "LotTaken",
    "lot_taken",
    "There is a lot {lot} already. Leave the number out for the next one.",
    base=Conflict,
    field="outputs",
)
NumberTaken = _refusal(
    "NumberTaken",
    "number_taken",
    "Operation {number} is recorded already with other content.",
    base=Conflict,
    field="number",
)
LotNumber = _refusal(
    "LotNumber",
    "lot_number",
    "A lot of this number was recorded by somebody else just now. Leave the number out for the next one.",
    base=Conflict,
    field="outputs",
)
OperationNumber = _refusal(
    "OperationNumber",
    "operation_number",
    "An operation of this number was recorded by somebody else just now. Look at it first.",
    base=Conflict,
    field="number",
)
HeldLot = _refusal(
    "HeldLot",
    "held_lot",
    "Lot {lot} is held by compliance: nobody may work it until it is released with a reason.",
    base=Conflict,
    field="inputs",
)
NotCustodian = _refusal(
    "NotCustodian",
    "not_custodian",
    "Lot {lot} is in another person's custody. Have it handed over to you first.",
    base=Conflict,
    field="inputs",
)
BeforeLastEvent = _refusal(
    "BeforeLastEvent",
    "before_last_event",
    "{message} Give a time after it: events of a lot are recorded in their order.",
    base=Conflict,
    field="at",
)
Future = _refusal("Future", "future", "This date is in the future. Give the time at which it happened.", field="at")
ClosedPeriod = _refusal(
    "ClosedPeriod",
    "closed_period",
    "The month {month} is closed. Record it in the open month and name the date that it is about.",
    base=Conflict,
    field="at",
)
MetalsOverGross = _refusal(
    "MetalsOverGross",
    "metals_over_gross",
    "The metals of {lot} weigh more than its gross. Check the weighing and the fineness.",
    field="outputs",
)
NegativeAmount = _refusal("NegativeAmount", "negative_amount", "{message}", field="outputs")
InProcess = _refusal(
    "InProcess",
    "in_process",
    "Lot {lot} is the content of a vessel: draw from its run, or finish the run.",
    base=Conflict,
    field="inputs",
)
MixingUnvalued = _refusal(
    "MixingUnvalued",
    "blind_mixing_unvalued",
    "Lot {lot} is not valued yet: lots of different receipts, origins or owners mix only after an accepted assay.",
    base=Conflict,
    field="inputs",
)
MixingUnreleased = _refusal(
    "MixingUnreleased",
    "blind_mixing_unreleased",
    "Lot {lot} is not released by compliance: it may not be mixed with other receipts yet.",
    base=Conflict,
    field="inputs",
)
MixingModel = _refusal(
    "MixingModel",
    "blind_mixing_model",
    "Lot {lot} is kept as “{model}” and may not be mixed with these lots.",
    base=Conflict,
    field="inputs",
)
NotValued = _refusal("NotValued", "not_valued", "{message} Record and accept its assay first.", field="outputs")
NotReleased = _refusal(
    "NotReleased",
    "not_released",
    "Lot {lot} is not released by compliance and cannot leave the gate.",
    base=Conflict,
    field="inputs",
)
NotOwner = _refusal(
    "NotOwner",
    "not_owner",
    "Lot {lot} belongs to another party and leaves only on that party's order.",
    base=Conflict,
    field="inputs",
)
ClaimTooSmall = _refusal(
    "ClaimTooSmall",
    "claim",
    "The metal account holds {book_g} g of {metal}, {missing_g} g less than this delivery.",
    base=Conflict,
    field="inputs",
)
NotCovered = _refusal(
    "NotCovered",
    "cover",
    "The house would hold less {metal} than it owes its customers ({owed_g} g).",
    base=Conflict,
    field="inputs",
)
CauseNotAllowed = _refusal(
    "CauseNotAllowed", "cause", "{message} Choose a cause that this step can have.", field="losses"
)
CauseWords = _refusal(
    "CauseWords", "cause_words", "A loss by “other” needs words that say what happened.", field="losses"
)
AdditionNotAllowed = _refusal("AdditionNotAllowed", "addition", "{message}", field="additions")
AdditionMetal = _refusal(
    "AdditionMetal",
    "addition_metal",
    "An addition brings mass and no metal. Metal comes in as a lot of its own.",
    field="additions",
)
CountersignatureNeeded = _refusal(
    "CountersignatureNeeded",
    "countersignature_needed",
    "The difference of {metal} is past the tolerance of this step ({kind}): a manager countersigns it with a reason.",
    field="countersign",
)
CountersignedByAnother = _refusal(
    "CountersignedByAnother",
    "countersigned_by_another",
    "Nobody countersigns for himself: a second person signs.",
    field="countersign",
)
CountersignerRight = _refusal(
    "CountersignerRight", "countersigner_right", "Only a manager countersigns.", field="countersign"
)
ReasonNeeded = _refusal("ReasonNeeded", "reason_needed", "{message} Write the reason.", field="reason")
UnknownParty = _refusal("UnknownParty", "unknown_party", "{message}", field="party")
UnknownPlace = _refusal("UnknownPlace", "unknown_place", "There is no place {place}.", field="place")
UnknownKind = _refusal("UnknownKind", "unknown_kind", "There is no kind of operation “{kind}”.", field="kind")
UnknownOperation = _refusal("UnknownOperation", "unknown_operation", "{message}", field="operation")
UnknownBar = _refusal("UnknownBar", "unknown_bar", "{message}", field="outputs")
BarReused = _refusal(
    "BarReused",
    "unique_uncancelled_bar",
    "A bar with this serial is stamped already this year. Take the next serial.",
    base=Conflict,
    field="outputs",
)
BarReplaces = _refusal(
    "BarReplaces",
    "bar_replaces",
    "Serial {serial} of {year} was stamped on a bar that is cancelled: name that bar as the one replaced.",
    base=Conflict,
    field="outputs",
)
ReverseFirst = _refusal(
    "ReverseFirst",
    "reverse_first",
    "Operation {operation} used lot {lot} since. Reverse {operation} first.",
    base=Conflict,
    field="reverses",
)
SettledReceipt = _refusal(
    "SettledReceipt",
    "settled_receipt",
    "Receipt {receipt} is settled by {settlement} and stays. Correct its lots, then correct the settlement.",
    base=Conflict,
    field="reverses",
)
ContentChanged = _refusal(
    "ContentChanged",
    "content_changed",
    "Lot {lot} took back metal since and is not as this operation left it. Correct the lot by a difference.",
    base=Conflict,
    field="reverses",
)
RecoveredSince = _refusal(
    "RecoveredSince",
    "recovered_since",
    "What it lost by {cause} was recovered since by {operation}. Reverse {operation} first.",
    base=Conflict,
    field="reverses",
)
HandedOverSince = _refusal(
    "HandedOverSince",
    "handed_over_since",
    "Lot {lot} was handed over since. Have it handed back first.",
    base=Conflict,
    field="reverses",
)
ReversedAlready = _refusal("ReversedAlready", "reversed_already", "{message}", base=Conflict, field="reverses")
RunRule = _refusal("RunRule", "run", "{message}", field="outputs")
VesselHoldsContent = _refusal(
    "VesselHoldsContent",
    "vessel_holds_content",
    "The vessel holds a content already. Charge that content together with the new metal, or finish its run.",
    base=Conflict,
    field="vessel",
)
OneContent = _refusal(
    "OneContent",
    "one_content_per_vessel",
    "The vessel holds a content already. Charge that content together with the new metal, or finish its run.",
    base=Conflict,
    field="vessel",
)
SettledOnce = _refusal(
    "SettledOnce",
    "settled_once",
    "Receipt {receipt} is settled by {settlement}. Issue a correction that names it.",
    base=Conflict,
    field="receipt",
)
SettledWhole = _refusal(
    "SettledWhole", "settled_once_and_whole", "Payable + retained + returned must equal the settled content."
)
SettledTotal = _refusal("SettledTotal", "settled_total", "{message} Reckon the settlement again.")
SettledContent = _refusal(
    "SettledContent",
    "settled_content",
    "The book says another content of {metal} now. Look at the settlement again, then issue it.",
    base=Conflict,
)
ApprovedByAnother = _refusal(
    "ApprovedByAnother",
    "approved_by_another",
    "Who prepares a settlement does not approve it: a second person signs.",
    field="countersign",
)
AcceptedByAnother = _refusal(
    "AcceptedByAnother",
    "accepted_by_another",
    "Who records a determination does not accept it: a second person does.",
    base=Conflict,
    field="determination",
)
AcceptedAssay = _refusal("AcceptedAssay", "accepted_assay", "{message}", field="determination")
ClearanceRight = _refusal("ClearanceRight", "clearance_right", "{message}", base=NotAllowed)
NothingHandedOver = _refusal(
    "NothingHandedOver",
    "nothing_handed_over",
    "Lot {lot} is with that person at that place already.",
    field="to_person",
)
RequestKey = _refusal(
    "RequestKey",
    "request_key",
    "This form was recorded before with other figures, as {operation}. Look at that operation first.",
    base=Conflict,
)
MonthNotOver = _refusal("MonthNotOver", "month_not_over", "Only a month that is over can be closed.", field="month")
NoInputs = _refusal("NoInputs", "no_inputs", "{message}", field="inputs")
NoOutputs = _refusal("NoOutputs", "no_outputs", "{message}", field="outputs")
MetalsFollow = _refusal("MetalsFollow", "metals_follow", "{message}", field="inputs")
ReceiptRule = _refusal("ReceiptRule", "receive", "{message}", field="outputs")
DispatchRule = _refusal("DispatchRule", "dispatch", "{message}", field="party")
DifferenceRule = _refusal("DifferenceRule", "difference", "{message}", field="inputs")
Busy = _refusal("Busy", "busy", "Another operation holds one of these lots. Try again in a moment.", base=Conflict)


def _all_refusals(base: type[Refusal]) -> list[type[Refusal]]:
    found = []
    for child in base.__subclasses__():
        found += [child, *_all_refusals(child)]
    return found


BY_CODE: dict[str, type[Refusal]] = {cls.code: cls for cls in _all_refusals(Refusal)}


def refusal_named(code: str, message: str, detail: dict[str, Any]) -> Refusal:
    """The refusal that PostgreSQL named, with its figures; an unknown name keeps its message."""
    refusal = BY_CODE.get(code, Refusal)(message, **detail)
    if code not in BY_CODE:
        refusal.code = code
    return refusal
