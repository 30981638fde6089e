"""Tables of the house. Ledger tables are read-only for the application; only custody_post() writes them."""

from custody.models.access import ApiToken, RoleGrant, User
from custody.models.assays import Acceptance, Determination
from custody.models.bars import Bar, BarType, Box, BoxBar, BoxOpening, SerialEvent, SerialRange
from custody.models.compliance import ClearanceEvent
from custody.models.counter import (
    Amendment,
    Attachment,
    Collection,
    Delivery,
    Purchase,
    PurchaseLine,
    RefusedParcel,
    Slip,
    SpoiledSlip,
)
from custody.models.custody import Handover
from custody.models.documents import Document
from custody.models.exchanges import Exchange, ExchangeResult, ExchangeTerms, SealedResult
from custody.models.ledger import Movement, Operation, Period, RuleRow, Run
from custody.models.lots import Edge, Lot, Origin, OriginReceipt, Parcel, Vector
from custody.models.parties import Party, Terms
from custody.models.plant import EffluentLimit, Place, PlaceChange, Refinery, Vessel
from custody.models.prices import Price, PriceConfirmation, PriceImport, PriceLimit
from custody.models.routes import PlantSettings, RouteOrder, RouteOrderLot, RouteOrderWork
from custody.models.samples import Sample, SampleSeal
from custody.models.scales import ReferenceWeight, Scale, ScaleCheck, ScaleCheckLoad, ScaleReading, Weighing
from custody.models.settlements import AccountEntry, MetalAccount, Settlement, SettlementCharge, SettlementLine
from custody.models.solutions import CellReading, SolutionAcceptance, SolutionAssay, SolutionFigure
from custody.models.vault import StockCount, StockCountLine, StockCountStray, VaultAccess, VaultClosing
from custody.models.worksheets import (
    Indication,
    ProofMetal,
    RepeatOrder,
    Worksheet,
    WorksheetImport,
    WorksheetPiece,
    WorksheetReading,
)

__all__ = [
    "Acceptance",
    "AccountEntry",
    "Amendment",
    "ApiToken",
    "Attachment",
    "Bar",
    "BarType",
    "Box",
    "BoxBar",
    "BoxOpening",
    "CellReading",
    "ClearanceEvent",
    "Collection",
    "Delivery",
    "Determination",
    "Document",
    "Edge",
    "EffluentLimit",
    "Exchange",
    "ExchangeResult",
    "ExchangeTerms",
    "Handover",
    "Indication",
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
    "PlaceChange",
    "PlantSettings",
    "Price",
    "PriceConfirmation",
    "PriceImport",
    "PriceLimit",
    "ProofMetal",
    "Purchase",
    "PurchaseLine",
    "ReferenceWeight",
    "Refinery",
    "RefusedParcel",
    "RepeatOrder",
    "RoleGrant",
    "RouteOrder",
    "RouteOrderLot",
    "RouteOrderWork",
    "RuleRow",
    "Run",
    "Sample",
    "SampleSeal",
    "Scale",
    "ScaleCheck",
    "ScaleCheckLoad",
    "ScaleReading",
    "SealedResult",
    "SerialEvent",
    "SerialRange",
    "Settlement",
    "SettlementCharge",
    "SettlementLine",
    "Slip",
    "SolutionAcceptance",
    "SolutionAssay",
    "SolutionFigure",
    "SpoiledSlip",
    "StockCount",
    "StockCountLine",
    "StockCountStray",
    "Terms",
    "User",
    "VaultAccess",
    "VaultClosing",
    "Vector",
    "Vessel",
    "Weighing",
    "Worksheet",
    "WorksheetImport",
    "WorksheetPiece",
    "WorksheetReading",
]
