"""The usual cautions of each kind of step. They are common practice; local codes and licensed practice decide.

Sources named beside a caution; without one it is common practice. No caution here gives a limit or a recipe.
"""

from dataclasses import dataclass

from custody.terms import Kind


@dataclass(frozen=True, slots=True)
class Caution:
    """A danger in words, and what people do about it."""

    title: str
    sentences: tuple[str, ...]


#: Water under liquid metal: LBMA, guidance on bar quality (cavities that hold water).
HOT_METAL = Caution(
    "hot metal",
    (
        "Warm and dry every mould, tool and charge: trapped water under liquid metal explodes.",
        "Face shield, aluminised gloves and coat, no synthetic fibres; a clear way back from the furnace.",
        "Run the extraction: flux, lead, cadmium and zinc fumes are poisonous.",
    ),
)
#: What comes over the counter holds more than metal. Mercury: Minamata Convention, Annex C (from memory).
FIRST_MELT = Caution(
    "what came with the delivery",
    (
        "Dry and open it first: water shut in a hollow piece, a stone or sweeps turns to steam and throws metal.",
        "Sort out closed tubes, batteries, stones and plastics before the furnace.",
        "Amalgam and gold that may hold mercury are never melted here: mercury is driven off in a closed retort first.",
    ),
)
NITRIC = Caution(
    "nitric acid and nitrogen oxides",
    (
        "Work under running extraction: brown nitrogen oxides harm hours after they were breathed.",
        "Keep the acid away from anything organic, and never close a vessel that still gives off gas.",
        "Eye wash and water within reach; never work alone.",
    ),
)
#: University laboratory procedures for aqua regia: gas builds up in a stopped vessel; no organics; glass only.
AQUA_REGIA = Caution(
    "strong acids, chlorine and nitrogen oxides",
    (
        "Nitric acid goes slowly into hydrochloric, under running extraction, in glass or another vessel made for it.",
        "The mixture gives off chlorine and nitrogen oxides and heats by itself: never store it, never close it.",
        "Keep everything organic away. Eye wash and water within reach; never work alone.",
    ),
)
SULFUR_DIOXIDE = Caution(
    "sulfur dioxide and acid",
    (
        "Destroy the nitric acid first; add the reagent in small parts: it foams and gives off sulfur dioxide.",
        "Work under running extraction, and test that no reagent is left over before the liquor leaves the vessel.",
        "Never add ammonia to a gold solution: what falls out explodes when it dries.",
    ),
)
CEMENTING = Caution(
    "acid and hydrogen",
    (
        "Metal in acid gives off hydrogen, and fumes where nitrate is left: extraction on, no flame near.",
        "Fine zinc or aluminium reacts late and then all at once: add it in small parts.",
    ),
)
SILVER_CELL = Caution(
    "silver nitrate and nitric acid",
    (
        "Silver nitrate burns skin and eyes; spilt electrolyte is washed off at once with plenty of water.",
        "Current off before hands go to the cell; extraction on where the anodes give off nitrogen oxides.",
    ),
)
GOLD_CELL = Caution(
    "hydrochloric acid and chlorine",
    (
        "The cell is hot, acid, and may give off chlorine: running extraction, gas alarm, face shield.",
        "Current off before hands go to the cell; anodes that turn grey are taken out.",
    ),
)
#: Silver–ammonia: J. Chem. Educ. and laboratory safety notes on silver nitride (fulminating silver).
WASHING = Caution(
    "ammonia with silver or gold",
    (
        "A silver–ammonia solution is used at once and destroyed with acid and salt: it becomes explosive on standing.",
        "Never bring ammonia to a gold solution or a gold precipitate.",
    ),
)
#: Soluble platinum salts sensitise the airways: occupational exposure texts (from memory).
PLATINUM_SALTS = Caution(
    "platinum salts and ammonium chloride",
    (
        "Dissolved platinum and its yellow salts make people allergic for life: gloves, no dust, no splashes.",
        "Only in acid liquor free of gold, never made alkaline: what ammonia makes of gold or silver explodes.",
        "Ignited salts give off chlorine and fume, and flare up with glyoxime or nitrate left in them: washed, dry, in"
        " small portions, under extraction.",
    ),
)
LIQUORS = Caution(
    "spent liquors",
    (
        "Never mix acid with anything that may hold cyanide or sulfide: ask where each liquor comes from.",
        "Alkali goes slowly into acid; it heats and foams. Extraction on, face shield, gloves.",
        "A liquor leaves the house only analysed and by the permit that names it.",
    ),
)
DRYING = Caution(
    "hot and dusty residues",
    (
        "A residue that saw ammonia, or whose history is not known, is not dried: some explode when dry.",
        "Dust is metal and may be poison: closed trays, extraction, mask.",
    ),
)

_BY_KIND: dict[Kind, tuple[Caution, ...]] = {
    **dict.fromkeys(
        (
            Kind.MELT,
            Kind.GRANULATE,
            Kind.INQUART,
            Kind.CAST_ANODES,
            Kind.CAST,
            Kind.CAST_STRIP,
            Kind.RECYCLE,
            Kind.ANNEAL,
        ),
        (HOT_METAL,),
    ),
    Kind.PART: (NITRIC,),
    Kind.DISSOLVE: (AQUA_REGIA,),
    Kind.PRECIPITATE: (SULFUR_DIOXIDE,),
    Kind.CEMENT_SILVER: (CEMENTING,),
    Kind.CEMENT_COPPER: (CEMENTING,),
    Kind.ELECTROLYSE_SILVER: (SILVER_CELL,),
    Kind.ELECTROLYSE_GOLD: (GOLD_CELL,),
    Kind.WASH: (WASHING,),
    Kind.NEUTRALISE: (LIQUORS,),
    Kind.DISCHARGE: (LIQUORS,),
    Kind.FILTER: (LIQUORS,),
    Kind.DRY: (DRYING,),
    Kind.CLEAN_OUT: (DRYING,),
}


def cautions_for(kind: Kind) -> tuple[Caution, ...]:
    """The cautions of one kind of step; empty where a step has no more danger than its tools."""
    return _BY_KIND.get(kind, ())
