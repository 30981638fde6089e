"""Refusals of the counter, the scales, the handover and the laboratory."""

from decimal import Decimal

from custody.errors.base import Conflict, grams, refusal

UnknownScale = refusal("UnknownScale", "unknown_scale", "There is no scale {scale} in use.", field="scale")
ScalePlate = refusal("ScalePlate", "scale_plate", "{message}", base=Conflict, field="scale")
ScaleCheckRule = refusal("ScaleCheckRule", "scale_check", "{message}", field="loads")
ScaleUnchecked = refusal(
    "ScaleUnchecked",
    "scale_unchecked",
    "Scale {scale} was not checked that day. Check it with reference weights, then weigh.",
    base=Conflict,
    field="scale",
)
ScaleFailed = refusal(
    "ScaleFailed",
    "scale_failed",
    "Scale {scale} failed its last check and may not be used. Take another scale.",
    base=Conflict,
    field="scale",
)
ScaleLoad = refusal(
    "ScaleLoad",
    "scale_load",
    "Scale {scale} weighs from {least_g} to {max_g} g, not {load_g} g. Take another scale.",
    field="gross",
)
ReadingRule = refusal(
    "ReadingRule",
    "reading",
    "This is not what scale {scale} sent. Take the reading again, or key it in.",
    base=Conflict,
    field="gross",
)
AttachmentRule = refusal("AttachmentRule", "attachment", "{message}", field="files")
WeighedOrSaysWhyNot = refusal(
    "WeighedOrSaysWhyNot",
    "weighed_or_says_why_not",
    "Lot {lot} {said}. Weigh it, or say why it can't be.",
    field="not_weighed",
)
NotWeighedCountersigned = refusal(
    "NotWeighedCountersigned",
    "not_weighed_countersigned",
    "No scale could be used for lot {lot}: a manager countersigns that it passes at book.",
    field="countersign",
)
SignedByBoth = refusal(
    "SignedByBoth",
    "handover_signed_by_both",
    "Who gives and who takes sign, each with their own login: the second signature is another person's.",
    field="signer",
)


class HandoverDifference(Conflict):
    """A check weighing that both scales' errors do not explain."""

    code = "handover_difference"
    field = "countersign"

    @property
    def sentence(self) -> str:
        allowed = Decimal(self.detail.get("allowed_ug", 0)).scaleb(-6)
        return (
            f"Lot {self.detail.get('lot')} weighs {grams(self.detail.get('weighed_mg', 0))} g, the book says"
            f" {grams(self.detail.get('book_mg', 0))} g: {grams(self.detail.get('off_mg', 0))} g apart, and the"
            f" scales may be {allowed:.3f} g apart. Weigh it again; if it stays, explain it and have it countersigned."
        )


SlipRule = refusal(
    "SlipRule",
    "slip",
    "Slip {slip} is not open: it is entered, spoiled, or was not printed by then. Check its number and time.",
    base=Conflict,
    field="slip",
)
PurchaseRule = refusal("PurchaseRule", "purchase", "{message}", field="amount")
CollectionRule = refusal(
    "CollectionRule",
    "collection",
    "Metal leaves by an order, to a person whose identity was seen: give the order, the name and the paper.",
    field="collector",
)
AmendmentCountersigned = refusal(
    "AmendmentCountersigned",
    "amendment_countersigned",
    "A manager countersigns a changed origin, and any change after the parcel was melted.",
    field="countersign",
)
AmendedSince = refusal(
    "AmendedSince",
    "amended_since",
    "Somebody amended this meanwhile: it says “{now}” now. Open the page again, then amend that.",
    base=Conflict,
)
ReturnedRule = refusal(
    "ReturnedRule",
    "returned",
    "{message} Only a parcel as it came, neither settled nor paid for, is returned.",
    base=Conflict,
    field="lots",
)
Bought = refusal(
    "Bought",
    "bought",
    "Receipt {receipt} was bought and paid at the counter: there is nothing to settle.",
    base=Conflict,
    field="receipt",
)
IndicationOnly = refusal(
    "IndicationOnly",
    "indication_only",
    "X-rays, density and a declaration are indications: they value no lot. Have it assayed.",
    field="determination",
)
ExchangeRule = refusal("ExchangeRule", "exchange", "{message}", field="exchange")
SealedOnce = refusal(
    "SealedOnce",
    "sealed_once",
    "The {side}’s result in exchange {exchange} is in already, and stays as it was handed in.",
    base=Conflict,
    field="side",
)
NoUmpire = refusal(
    "NoUmpire",
    "no_umpire",
    "In exchange {exchange} there is nothing for an umpire to decide.",
    base=Conflict,
    field="exchange",
)
ExchangeOpen = refusal(
    "ExchangeOpen",
    "exchange_open",
    "The assays of this lot are exchanged ({exchange}): it is valued by what the exchange comes to, and nothing else.",
    base=Conflict,
    field="determination",
)
WorksheetReported = refusal(
    "WorksheetReported",
    "worksheet_reported",
    "A result of worksheet {worksheet} that rests on position {position} is reported: its readings stay. Open another.",
    base=Conflict,
    field="reason",
)
WorksheetBalance = refusal(
    "WorksheetBalance", "worksheet_balance", "Worksheet {worksheet} names no balance to weigh on.", field="balance"
)
WorksheetLoad = refusal("WorksheetLoad", "worksheet_load", "{message} Take another balance.", field="balance")
ProofMetalStays = refusal("ProofMetalStays", "proof_metal", "{message}", base=Conflict, field="code")
AssayedAgain = refusal(
    "AssayedAgain",
    "assayed_again",
    "This determination was not accepted: the lot is assayed again.",
    base=Conflict,
    field="determination",
)
SampleRule = refusal("SampleRule", "sample", "{message}", field="sample")
