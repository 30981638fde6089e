"""Tables of the house. Ledger tables are read-only for the application; only custody_post() writes them."""

from custody.models.access import RoleGrant, User
from custody.models.assays import Acceptance, Determination, Weighing
from custody.models.bars import Bar
from custody.models.compliance import ClearanceEvent
from custody.models.custody import Handover
from custody.models.documents import Document
from custody.models.ledger import Movement, Operation, Period, RuleRow, Run
from custody.models.lots import Edge, Lot, Origin, OriginReceipt, Parcel, Vector
from custody.models.parties import Party, Terms
from custody.models.plant import Place, Refinery
from custody.models.settlements import AccountEntry, MetalAccount, Settlement, SettlementCharge, SettlementLine

__all__ = [
    "Acceptance",
    "AccountEntry",
    "Bar",
    "ClearanceEvent",
    "Determination",
    "Document",
    "Edge",
    "Handover",
    "Lot",
    "MetalAccount",
    "Movement",
    "Operation",
    "Origin",
    "OriginReceipt",
    "Parcel",
    "Party",
    "Period",
    "Place",
    "Refinery",
    "RoleGrant",
    "RuleRow",
    "Run",
    "Settlement",
    "SettlementCharge",
    "SettlementLine",
    "Terms",
    "User",
    "Vector",
    "Weighing",
]
