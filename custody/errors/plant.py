"""Refusals of the plant: yields, solutions and water, cells, bars and their serials, boxes, the vault."""

from custody.errors.base import Conflict, refusal

OutsideBand = refusal(
    "OutsideBand",
    "outside_band",
    "{metal}: more is lost than {kind} usually loses. Weigh again; if it stays, write the reason.",
    field="reason",
)
PoorYield = refusal(
    "PoorYield",
    "poor_yield",
    "The products of this step ({kind}) hold less {metal} than it usually yields. Weigh and name them again;"
    " if it stays, a manager countersigns it with a reason.",
    field="countersign",
)
SolutionRule = refusal("SolutionRule", "solution", "{message}", field="solution")
SolutionStale = refusal(
    "SolutionStale",
    "solution_stale",
    "Lot {lot} was worked after assay {assay}: it is not what was assayed. Take a new assay.",
    base=Conflict,
    field="solution",
)
NoEffluentLimits = refusal(
    "NoEffluentLimits",
    "effluent_no_limits",
    "No limits for discharge are set. A manager enters those of the permit first.",
    base=Conflict,
    field="inputs",
)
EffluentUnassayed = refusal(
    "EffluentUnassayed",
    "effluent_unassayed",
    "Lot {lot} is not assayed as it is now: water leaves only after its assay is accepted.",
    base=Conflict,
    field="inputs",
)
EffluentUnmeasured = refusal(
    "EffluentUnmeasured",
    "effluent_unmeasured",
    "{substance} of lot {lot} has a limit and was not measured in {assay}. Measure it first.",
    base=Conflict,
    field="inputs",
)
EffluentOverLimit = refusal(
    "EffluentOverLimit",
    "effluent_over_limit",
    "{substance} of lot {lot} is outside the permitted limit: it may not be discharged. Treat it again.",
    base=Conflict,
    field="inputs",
)
OverCapacity = refusal(
    "OverCapacity",
    "over_capacity",
    "{vessel} holds at most {most} L; with this it would hold about {then} L.{onward} if it is so, write the reason.",
    field="reason",
)
EffluentUndischarged = refusal(
    "EffluentUndischarged",
    "effluent_undischarged",
    "Metal leaves with water by a discharge alone: keep the liquor as a solution, have it assayed, and discharge it. Or"
    " name the cause by which the metal was lost here.",
    field="losses",
)
CurrentOverlaps = refusal(
    "CurrentOverlaps", "current_overlaps", "This time overlaps an earlier reading of the current.", field="from_at"
)
CurrentOutsideRun = refusal(
    "CurrentOutsideRun",
    "current_outside_run",
    "The run is not under way over the whole time of a reading of its current.",
    field="from_at",
)
UnknownBarType = refusal(
    "UnknownBarType", "unknown_bar_type", "There is no bar type {bar_type} in use.", field="bar_type"
)
BarWeight = refusal(
    "BarWeight",
    "bar_weight",
    "Bar {serial} weighs {weighed_g} g; as {type} it weighs from {least_g} to {most_g} g. Adjust it, or remelt it.",
    field="outputs",
)
BarFineness = refusal(
    "BarFineness",
    "bar_fineness",
    "Bar {serial} holds less fine metal than {type} asks. Check the assay of what it is made of.",
    field="outputs",
)
BarTypeStays = refusal(
    "BarTypeStays",
    "bar_type_stays",
    "Bar type {bar_type} stays as it was entered: bars were judged by it. Enter another type.",
    base=Conflict,
    field="code",
)
SerialSpoiled = refusal(
    "SerialSpoiled",
    "serial_spoiled",
    "Serial {serial} was spoiled and is never used. Take the next one.",
    base=Conflict,
    field="serial",
)
SerialRangeRule = refusal(
    "SerialRangeRule",
    "serial_range",
    "Serial {serial} lies in no range that is set aside for {mark} {year}.",
    base=Conflict,
    field="serial",
)
SerialOfType = refusal(
    "SerialOfType", "serial_of_type", "Serial {serial} is set aside for {type}.", base=Conflict, field="serial"
)
SerialUsed = refusal(
    "SerialUsed",
    "serial_used",
    "A bar bears serial {serial}: it has its own end in the book.",
    base=Conflict,
    field="serial",
)
RangesApart = refusal(
    "RangesApart",
    "serial_ranges_apart",
    "This range shares serials with an earlier one of the same mark and year.",
    base=Conflict,
    field="first",
)
BoxRule = refusal("BoxRule", "box", "{message}", field="lots")
Boxed = refusal(
    "Boxed",
    "boxed",
    "Lot {lot} lies in box {box}, which is closed: open it first. A box passes and leaves whole.",
    base=Conflict,
    field="inputs",
)
VaultClosed = refusal(
    "VaultClosed",
    "vault_closed",
    "Place {place} is opened by two people: open it first. Who works, gives or takes there is one of the two.",
    base=Conflict,
    field="place",
)
VaultRule = refusal("VaultRule", "vault", "{message}", base=Conflict, field="place")
VaultByTwo = refusal(
    "VaultByTwo", "vault_opened_by_two", "Nobody opens it alone: a second person signs.", field="signer"
)
VaultRight = refusal(
    "VaultRight",
    "vault_right",
    "Vault keepers and managers open and close it, each with their own login.",
    field="signer",
)
VaultPurpose = refusal("VaultPurpose", "vault_purpose", "{message}", field="purpose")
PlaceRule = refusal("PlaceRule", "place", "{message}", base=Conflict, field="place")
PlaceRight = refusal("PlaceRight", "place_right", "Only a manager changes a place.", field="place")
CountedSince = refusal(
    "CountedSince",
    "counted_since",
    "Place {place} was counted after that time ({count}): give a time after the count.",
    base=Conflict,
    field="at",
)
CountRight = refusal(
    "CountRight",
    "count_right",
    "Vault keepers, metal accountants and managers count, each with their own login.",
    field="signer",
)
CountRule = refusal("CountRule", "count", "{message}", field="place")
CountTold = refusal(
    "CountTold",
    "count_told",
    "Lot {lot} is neither scanned nor told of. Look for it, or say why it is missing.",
    base=Conflict,
    field="missing",
)
CountedByTwo = refusal("CountedByTwo", "counted_by_two", "Nobody counts alone: a second person signs.", field="signer")
