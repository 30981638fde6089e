"""Refusals of the ledger: lots, operations, mixing, runs, titles, settlements, months."""

from custody.errors.base import Conflict, NotAllowed, refusal

AppendOnly = refusal("AppendOnly", "append_only", "{message}", base=Conflict)
Sealed = refusal("Sealed", "sealed", "{message}", base=Conflict)
UnknownLot = refusal(
    "UnknownLot", "unknown_lot", "There is no lot {lot}. Check the number, or scan the label.", field="inputs"
)
LotTwice = refusal("LotTwice", "lot_twice", "Lot {lot} is named twice. Name each lot once.", field="inputs")
LotTaken = refusal(
    "LotTaken",
    "lot_taken",
    "There is a lot {lot} already. Take another number.",
    base=Conflict,
    field="outputs",
)
NumberTaken = refusal(
    "NumberTaken",
    "number_taken",
    "Operation {number} is recorded already with other content.",
    base=Conflict,
    field="number",
)
LotNumber = refusal(
    "LotNumber",
    "lot_number",
    "A lot of this number was recorded by somebody else just now. Take another number.",
    base=Conflict,
    field="outputs",
)
OperationNumber = refusal(
    "OperationNumber",
    "operation_number",
    "An operation of this number was recorded by somebody else just now. Look at it first.",
    base=Conflict,
    field="number",
)
HeldLot = refusal(
    "HeldLot",
    "held_lot",
    "Lot {lot} is held by compliance: nobody may work it until it is released with a reason.",
    base=Conflict,
    field="inputs",
)
NotCustodian = refusal(
    "NotCustodian",
    "not_custodian",
    "Lot {lot} is in another person's custody. Have it handed over to you first.",
    base=Conflict,
    field="inputs",
)
BeforeLastEvent = refusal(
    "BeforeLastEvent",
    "before_last_event",
    "{message} Give a time after it: events of a lot are recorded in their order.",
    base=Conflict,
    field="at",
)
Future = refusal("Future", "future", "This date is in the future. Give the time at which it happened.", field="at")
ClosedPeriod = refusal(
    "ClosedPeriod",
    "closed_period",
    "The month {month} is closed. Record it in the open month and name the date that it is about.",
    base=Conflict,
    field="at",
)
MetalsOverGross = refusal(
    "MetalsOverGross",
    "metals_over_gross",
    "The metals of {lot} weigh more than its gross. Check the weighing and the fineness.",
    field="outputs",
)
NegativeAmount = refusal("NegativeAmount", "negative_amount", "{message}", field="outputs")
InProcess = refusal(
    "InProcess",
    "in_process",
    "Lot {lot} is the content of a vessel: draw from its run, or finish the run.",
    base=Conflict,
    field="inputs",
)
MixingUnvalued = refusal(
    "MixingUnvalued",
    "blind_mixing_unvalued",
    "Lot {lot} is not valued yet: lots of different receipts, origins or owners mix only after an accepted assay.",
    base=Conflict,
    field="inputs",
)
MixingUnreleased = refusal(
    "MixingUnreleased",
    "blind_mixing_unreleased",
    "Lot {lot} is not released by compliance: it may not be mixed with other receipts yet.",
    base=Conflict,
    field="inputs",
)
MixingModel = refusal(
    "MixingModel",
    "blind_mixing_model",
    "Lot {lot} is kept as “{model}” and may not be mixed with these lots.",
    base=Conflict,
    field="inputs",
)
NotValued = refusal("NotValued", "not_valued", "{message} Record and accept its assay first.", field="outputs")
NotReleased = refusal(
    "NotReleased",
    "not_released",
    "Lot {lot} is not released by compliance and cannot leave the gate.",
    base=Conflict,
    field="inputs",
)
NotOwner = refusal(
    "NotOwner",
    "not_owner",
    "Lot {lot} belongs to another party and leaves only on that party's order.",
    base=Conflict,
    field="inputs",
)
ClaimTooSmall = refusal(
    "ClaimTooSmall",
    "claim",
    "The metal account holds {book_g} g of {metal}, {missing_g} g less than this delivery.",
    base=Conflict,
    field="inputs",
)
NotCovered = refusal(
    "NotCovered",
    "cover",
    "The house would hold less {metal} than it owes its customers ({owed_g} g).",
    base=Conflict,
    field="inputs",
)
CauseNotAllowed = refusal(
    "CauseNotAllowed", "cause", "{message} Choose a cause that this step can have.", field="losses"
)
CauseWords = refusal(
    "CauseWords", "cause_words", "A loss by “other” needs words that say what happened.", field="losses"
)
AdditionNotAllowed = refusal("AdditionNotAllowed", "addition", "{message}", field="additions")
AdditionMetal = refusal(
    "AdditionMetal",
    "addition_metal",
    "An addition brings mass and no metal. Metal comes in as a lot of its own.",
    field="additions",
)
CountersignatureNeeded = refusal(
    "CountersignatureNeeded",
    "countersignature_needed",
    "The difference of {metal} is past the tolerance of this step ({kind}): a manager countersigns it with a reason.",
    field="countersign",
)
CountersignedByAnother = refusal(
    "CountersignedByAnother",
    "countersigned_by_another",
    "Nobody countersigns for himself: a second person signs.",
    field="countersign",
)
CountersignerRight = refusal(
    "CountersignerRight", "countersigner_right", "Only a manager countersigns.", field="countersign"
)
ReasonNeeded = refusal("ReasonNeeded", "reason_needed", "{message} Write the reason.", field="reason")
UnknownParty = refusal("UnknownParty", "unknown_party", "{message}", field="party")
UnknownPlace = refusal("UnknownPlace", "unknown_place", "There is no place {place}.", field="place")
UnknownKind = refusal("UnknownKind", "unknown_kind", "There is no kind of operation “{kind}”.", field="kind")
UnknownOperation = refusal("UnknownOperation", "unknown_operation", "{message}", field="operation")
UnknownBar = refusal("UnknownBar", "unknown_bar", "{message}", field="outputs")
BarReused = refusal(
    "BarReused",
    "unique_uncancelled_bar",
    "Serial {serial} is on a bar already this year. Take the next one.",
    base=Conflict,
    field="outputs",
)
BarReplaces = refusal(
    "BarReplaces",
    "bar_replaces",
    "Serial {serial} of {year} was stamped on a bar that is cancelled: name that bar as the one replaced.",
    base=Conflict,
    field="outputs",
)
ReverseFirst = refusal(
    "ReverseFirst",
    "reverse_first",
    "Operation {operation} used lot {lot} since. Reverse {operation} first.",
    base=Conflict,
    field="reverses",
)
SettledReceipt = refusal(
    "SettledReceipt",
    "settled_receipt",
    "Receipt {receipt} is settled by {settlement} and stays. Correct its lots, then correct the settlement.",
    base=Conflict,
    field="reverses",
)
ContentChanged = refusal(
    "ContentChanged",
    "content_changed",
    "Lot {lot} took back metal since and is not as this operation left it. Correct the lot by a difference.",
    base=Conflict,
    field="reverses",
)
RecoveredSince = refusal(
    "RecoveredSince",
    "recovered_since",
    "What it lost by {cause} was recovered since by {operation}. Reverse {operation} first.",
    base=Conflict,
    field="reverses",
)
HandedOverSince = refusal(
    "HandedOverSince",
    "handed_over_since",
    "Lot {lot} was handed over since. Have it handed back first.",
    base=Conflict,
    field="reverses",
)
ReversedAlready = refusal("ReversedAlready", "reversed_already", "{message}", base=Conflict, field="reverses")
RunRule = refusal("RunRule", "run", "{message}", field="outputs")
VesselHoldsContent = refusal(
    "VesselHoldsContent",
    "vessel_holds_content",
    "The vessel holds a content already. Charge that content together with the new metal, or finish its run.",
    base=Conflict,
    field="vessel",
)
OneContent = refusal(
    "OneContent",
    "one_content_per_vessel",
    "The vessel holds a content already. Charge that content together with the new metal, or finish its run.",
    base=Conflict,
    field="vessel",
)
SettledOnce = refusal(
    "SettledOnce",
    "settled_once",
    "Receipt {receipt} is settled by {settlement}. Issue a correction that names it.",
    base=Conflict,
    field="receipt",
)
SettledWhole = refusal(
    "SettledWhole", "settled_once_and_whole", "Payable + retained + returned must equal the settled content."
)
SettledTotal = refusal("SettledTotal", "settled_total", "{message} Reckon the settlement again.")
SettledContent = refusal(
    "SettledContent",
    "settled_content",
    "The book says another content of {metal} now. Look at the settlement again, then issue it.",
    base=Conflict,
)
ApprovedByAnother = refusal(
    "ApprovedByAnother",
    "approved_by_another",
    "Who prepares a settlement does not approve it: a second person signs.",
    field="countersign",
)
AcceptedByAnother = refusal(
    "AcceptedByAnother",
    "accepted_by_another",
    "Who records a determination does not accept it: a second person does.",
    base=Conflict,
    field="determination",
)
AcceptedAssay = refusal("AcceptedAssay", "accepted_assay", "{message}", field="determination")
ClearanceRight = refusal("ClearanceRight", "clearance_right", "{message}", base=NotAllowed)
NothingHandedOver = refusal(
    "NothingHandedOver",
    "nothing_handed_over",
    "Lot {lot} is with that person at that place already.",
    field="to_person",
)
RequestKey = refusal(
    "RequestKey",
    "request_key",
    "This form was recorded before with other figures, as {operation}. Look at that operation first.",
    base=Conflict,
)
MonthNotOver = refusal("MonthNotOver", "month_not_over", "Only a month that is over can be closed.", field="month")
NoInputs = refusal("NoInputs", "no_inputs", "{message}", field="inputs")
NoOutputs = refusal("NoOutputs", "no_outputs", "{message}", field="outputs")
MetalsFollow = refusal("MetalsFollow", "metals_follow", "{message}", field="inputs")
ReceiptRule = refusal("ReceiptRule", "receive", "{message}", field="outputs")
DispatchRule = refusal("DispatchRule", "dispatch", "{message}", field="party")
DifferenceRule = refusal("DifferenceRule", "difference", "{message}", field="inputs")
Busy = refusal("Busy", "busy", "Another operation holds one of these lots. Try again in a moment.", base=Conflict)
