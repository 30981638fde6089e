"""The closed vocabularies of the house: the trade's words, one meaning each.

Values are what PostgreSQL stores and what the contract files say; labels are what screens and papers show.
"""

from enum import StrEnum

#: Metals of account, in the order in which ties are decided everywhere.
METALS = ("Au", "Ag", "Pt", "Pd", "Cu")

#: Of these the precious ones: bars are made of them, and bands and tolerances watch them.
PRECIOUS = ("Au", "Ag", "Pt", "Pd")

#: Columns of a movement: gross first, then the metals of account.
COLUMNS = ("gross", *METALS)

MG_PER_GRAM = 1000
PPM = 1_000_000


class Term(StrEnum):
    """A word of the trade; ``label`` is how a screen or a paper says it."""

    @property
    def label(self) -> str:
        return self.value

    @classmethod
    def choices(cls) -> list[tuple[str, str]]:
        return [(member.value, member.label) for member in cls]


class Form(Term):
    """What a lot is."""

    DORE = "dore"
    SCRAP = "scrap"
    JEWELLERY = "jewellery"
    NUGGETS = "nuggets"
    SWEEPS = "sweeps"
    COIN = "coin"
    INDUSTRIAL = "industrial"
    GRANULES = "granules"
    MELT = "melt"
    SAMPLE = "sample"
    SLAG = "slag"
    IN_PROCESS = "in process"
    GOLD_SAND = "gold sand"
    SILVER_SAND = "silver sand"
    SILVER_CHLORIDE = "silver chloride"
    RESIDUE = "residue"
    SOLUTION = "solution"
    ANODE = "anode"
    CATHODE = "cathode"
    SLIMES = "slimes"
    CEMENT_COPPER = "cement copper"
    CAKE = "cake"
    STRIP = "strip"
    BLANK = "blank"
    SKELETON = "skeleton"
    FILINGS = "filings"
    BAR = "bar"
    CRUCIBLE = "crucible"
    FILTER = "filter"
    LINING = "lining"
    SWEEPINGS = "sweepings"
    OTHER = "other"

    @property
    def label(self) -> str:
        return "doré" if self is Form.DORE else self.value


#: Forms in which metal comes over the counter.
COUNTER_FORMS = (
    Form.DORE,
    Form.JEWELLERY,
    Form.SCRAP,
    Form.NUGGETS,
    Form.SWEEPS,
    Form.COIN,
    Form.GRANULES,
    Form.INDUSTRIAL,
    Form.BAR,
    Form.RESIDUE,
    Form.OTHER,
)


class Kind(Term):
    """Every kind of operation; what each may do is the table in calc/rules.py."""

    RECEIVE = "receive"
    VALUE = "value"
    MELT = "melt"
    SAMPLE = "sample"
    GRANULATE = "granulate"
    INQUART = "inquart"
    PART = "part"
    DISSOLVE = "dissolve"
    FILTER = "filter"
    PRECIPITATE = "precipitate"
    WASH = "wash"
    CEMENT_SILVER = "cement silver"
    CEMENT_COPPER = "cement copper"
    CAST_ANODES = "cast anodes"
    ELECTROLYSE_SILVER = "electrolyse silver"
    ELECTROLYSE_GOLD = "electrolyse gold"
    NEUTRALISE = "neutralise"
    DISCHARGE = "discharge"
    DRY = "dry"
    CAST = "cast"
    CAST_STRIP = "cast strip"
    ROLL = "roll"
    PUNCH = "punch"
    ANNEAL = "anneal"
    ADJUST = "adjust"
    STAMP = "stamp"
    DIVIDE = "divide"
    RECYCLE = "recycle"
    CLEAN_OUT = "clean out"
    CHARGE = "charge"
    DRAW = "draw"
    FINISH = "finish"
    DIFFERENCE = "difference"
    DISPATCH = "dispatch"
    REVERSE = "reverse"


class Side(StrEnum):
    """Side of a movement. Balance: in + add = out + loss, for gross and for each metal."""

    IN = "in"
    ADD = "add"
    OUT = "out"
    LOSS = "loss"


class Cause(Term):
    """Why metal or mass left the book."""

    MOISTURE = "moisture"
    ORGANICS = "organics and stones"
    SLAG = "slag"
    FUME = "fume"
    FILTER = "filter"
    LINING = "furnace lining"
    SWEEPINGS = "sweepings"
    EFFLUENT = "effluent"
    SPILL = "spill"
    SAMPLE = "sample consumed"
    DIFFERENCE = "measurement difference"
    THEFT = "theft"
    OTHER = "other"


class Addition(Term):
    """What enters from outside the book in a step. ``valuation`` is written by the book alone."""

    FLUX = "flux"
    ACID = "acid"
    WATER = "water"
    REAGENT = "reagent"
    UNWEIGHED = "unweighed water or gas"
    VALUATION = "valuation"


class CustodyModel(Term):
    """ISO 22095 chain-of-custody models that touch metal itself."""

    IDENTITY = "identity preserved"
    SEGREGATED = "segregated"
    BLENDING = "controlled blending"
    MASS_BALANCE = "mass balance"


class Category(Term):
    """Declared origin of a parcel."""

    MINED = "mined"
    MINED_LARGE = "mined large scale"
    MINED_SMALL = "mined artisanal and small scale"
    RECYCLED = "recycled"
    GRANDFATHERED = "grandfathered"
    HOUSE = "house"


class Clearance(Term):
    """Where compliance stands with a lot."""

    AWAITING = "awaiting release"
    HELD = "held"
    RELEASED = "released"


class Basis(Term):
    """On what terms metal was received: title stays with the party, or passes to the house."""

    TOLL = "toll"
    PURCHASE = "purchase"


class PlaceKind(Term):
    """What kind of place holds metal."""

    COUNTER = "counter"
    STRONGROOM = "strongroom"
    LABORATORY = "laboratory"
    FURNACE = "furnace"
    VESSEL = "vessel"
    WORKSHOP = "workshop"
    VAULT = "vault"


class Outturn(Term):
    """In what a settlement is paid."""

    MONEY = "money"
    METAL = "metal"


class Against(Term):
    """By what right metal leaves the gate."""

    OWN = "own"
    CLAIM = "claim"
    SALE = "sale"
    RETURNED = "returned"

    @property
    def label(self) -> str:
        return {
            Against.OWN: "its own metal",
            Against.CLAIM: "house metal against its claim",
            Against.SALE: "house metal that it bought",
            Against.RETURNED: "its parcel, returned unmelted",
        }[self]


class Method(Term):
    """How a fineness was determined."""

    FIRE_ASSAY = "fire assay by cupellation"
    CRUCIBLE = "fire assay, crucible fusion"
    SALT_TITRATION = "titration with sodium chloride"
    TITRATION = "potentiometric titration"
    GRAVIMETRY = "gravimetry"
    ICP = "ICP spectrometry"
    XRF = "XRF indication"
    DENSITY = "density indication"
    STATED = "as declared"
    EXCHANGE = "exchange of assays"


#: Methods that suggest and never determine: no lot is valued by them.
INDICATIONS = (Method.XRF, Method.DENSITY, Method.STATED)


class Purpose(Term):
    """What a weighing was for."""

    RECEIPT = "receipt"
    HANDOVER = "handover"
    BEFORE_MELT = "before melting"
    AFTER_MELT = "after melting"
    SAMPLE = "sample"
    STEP = "step"
    RETURN = "return"
    GATE = "gate"
    AGAIN = "weighed again"


class NotWeighed(Term):
    """Why a lot passes at book."""

    VESSEL = "content of a vessel"
    SEALED = "sealed, the seal seen unbroken"
    SERIAL = "bar counted by its serial"
    SHIFT = "shift handover, seen and scanned"
    POWER = "no scale could be used"
    MISSING = "not found, stays with who gave"


class SerialFate(Term):
    """What became of a serial that no bar bears."""

    RESERVED = "reserved"
    FREED = "freed"
    SPOILED = "spoiled"


class IdentityKind(Term):
    """Which paper a person was known by."""

    PASSPORT = "passport"
    CARD = "identity card"
    LICENCE = "driving licence"
    PERMIT = "residence permit"
    AUTHORITY = "written authority"
    KNOWN = "known by sight"


class Payment(Term):
    """How metal bought at the counter was paid."""

    CASH = "cash"
    TRANSFER = "bank transfer"
    CHEQUE = "cheque"


class AttachmentKind(Term):
    """What an attachment of a receipt shows."""

    PHOTOGRAPH = "photograph"
    EXPORT = "export paper"
    TRANSPORT = "transport paper"
    ORIGIN = "paper of origin"
    IDENTITY = "identity paper"
    OTHER = "other paper"


class SampleCut(Term):
    """How a sample was cut."""

    PIN = "pin"
    DRILL = "drill"
    DIP = "dip"
    GRANULE = "granules"


class SamplePurpose(Term):
    """Whom a sample is for."""

    LABORATORY = "laboratory"
    CUSTOMER = "customer"
    UMPIRE = "umpire"
    RESERVE = "reserve"


class PieceRole(Term):
    """What a piece of a worksheet is. A silver sample is cupelled without added silver and not parted."""

    SAMPLE = "sample"
    SILVER_SAMPLE = "silver sample"
    PROOF = "proof"
    SILVER_PROOF = "silver proof"
    STANDARD = "standard"


class ReadingOf(Term):
    """What a raw reading of a worksheet is of."""

    PORTION = "portion"
    SILVER_ADDED = "silver added"
    BEAD = "bead"
    CORNET = "cornet"
    CHLORIDE = "silver chloride"
    VOLUME = "volume"
    IMPURITY = "impurity"
    DISCARDED = "discarded"


class ExchangeSide(Term):
    """Whose result in an exchange of assays."""

    REFINERY = "refinery"
    CUSTOMER = "customer"
    UMPIRE = "umpire"


class Source(StrEnum):
    """Through which door an operation came into the book."""

    LIVE = "live"
    HISTORY = "history"
    API = "api"


class Role(Term):
    """Who may do what; a person may have several."""

    FRONT_DESK = "front desk"
    SAMPLER = "sampler"
    ASSAYER = "assayer"
    OPERATOR = "plant operator"
    VAULT = "vault keeper"
    ACCOUNTANT = "metal accountant"
    COMPLIANCE = "compliance officer"
    MANAGER = "manager"
    AUDITOR = "auditor"
    CUSTOMER = "customer"


class OriginKind(StrEnum):
    """A parcel received, or a measured gain that no delivery explains."""

    PARCEL = "parcel"
    DIFFERENCE = "difference"


class DocumentKind(Term):
    """Papers that the house issues."""

    RECEIPT = "receipt"
    LABELS = "lot labels"
    SETTLEMENT = "settlement statement"
    CERTIFICATE = "bar certificate"
    TRACE = "trace report"
    PURCHASE = "purchase note"
    COLLECTION = "collection note"
    RETURN = "return note"
    SLIPS = "paper slips"
    ASSAY = "assay certificate"
    BATCH_SHEET = "batch sheet"
    BAR_LIST = "bar list"
    BOX_LIST = "box list"
    DISPATCH_NOTE = "dispatch note"
    COUNT = "count sheet"
