"""The flow picture: where metal came from and where it went, as SVG drawn on the server.

Boxes stand in columns from left to right, bands between them are as wide as the milligrams they carry. The same
picture serves screens (no script, no style: presentation attributes and classes only) and papers. Milligrams stay
whole numbers; only drawing coordinates are ordinary ones.
"""

from base64 import b64encode
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from django.utils.safestring import mark_safe

from custody.calc.mass import format_grams
from custody.documents.drawing import text

#: Most boxes in a column; the smallest beyond it become one box.
LIMIT = 24
#: Most columns; what lies between the outer ones becomes one box.
COLUMNS = 7
OTHERS = "others"

BOX_WIDTH = 128
GUTTER = 44
LINE = 13
PADDING = 5
GAP = 9
#: A column with more boxes than this shows one line and the mass in each.
ROOMY = 12
SWEEPS = 12

FILLS = {"Au": "#c79a3b", "Ag": "#9aa7b0", "Pt": "#8fa89b", "Pd": "#b7a3b5", "Cu": "#c08463"}
#: Line width and dashes by kind, so that nothing rests on colour: what left the book is dashed, a gain dotted.
EDGES = {"bar": (2.5, ""), "loss": (1.2, "5 3"), "difference": (1.2, "1.5 2.5"), OTHERS: (1.0, "9 3")}
BOLD = ' font-weight="bold"'


@dataclass(frozen=True, slots=True)
class Node:
    """A lot, origin or fate: ``kind`` is parcel, lot, bar, stock, dispatched, loss, difference or others."""

    id: str
    lines: tuple[str, ...]
    kind: str
    column: int


@dataclass(frozen=True, slots=True)
class Link:
    """So many milligrams of one metal from one node to another, further right."""

    source: str
    target: str
    mg: int
    metal: str = "Au"


@dataclass(slots=True, eq=False)
class Slot:
    """The room of a box in its column, or the room that a band needs to pass a column it doesn't stop in."""

    key: str
    column: int
    node: Node | None
    flow: float
    height: float
    top: float = 0.0

    @property
    def left(self) -> float:
        return self.column * (BOX_WIDTH + GUTTER)

    @property
    def middle(self) -> float:
        return self.top + self.height / 2


@dataclass(slots=True, eq=False)
class Band:
    """One link as drawn: the slots it runs through, its width, and its upper edge at each side of each slot."""

    link: Link
    slots: list[Slot]
    width: float
    out_top: list[float] = field(default_factory=list)
    in_top: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Picture:
    """A finished layout: drawing units are those of the view box."""

    width: float
    height: float
    nodes: tuple[Node, ...]
    links: tuple[Link, ...]
    slots: tuple[Slot, ...]
    bands: tuple[Band, ...]
    masses: dict[str, dict[str, int]]


def throughput(nodes: Iterable[Node], links: Iterable[Link]) -> dict[str, dict[str, int]]:
    """Per node and metal, the milligrams that pass through it: the larger of in and out."""
    into: dict[str, Counter] = defaultdict(Counter)
    out: dict[str, Counter] = defaultdict(Counter)
    for link in links:
        out[link.source][link.metal] += link.mg
        into[link.target][link.metal] += link.mg
    return {
        node.id: {
            metal: max(into[node.id][metal], out[node.id][metal]) for metal in sorted({*into[node.id], *out[node.id]})
        }
        for node in nodes
    }


def condense(
    nodes: Sequence[Node], links: Sequence[Link], *, limit: int = LIMIT, columns: int = COLUMNS
) -> tuple[list[Node], list[Link]]:
    """The same flow with at most ``columns`` columns and ``limit`` boxes in each.

    Middle columns fold into one box, then the smallest boxes of a full column into "n others". Milligrams are added,
    never dropped. Raises ``ValueError`` for an unknown or repeated id, a negative mass, a link that runs back.
    """
    _check(nodes, links)
    ranks = {column: rank for rank, column in enumerate(sorted({node.column for node in nodes}))}
    nodes = [replace(node, column=ranks[node.column]) for node in nodes]
    if len(ranks) > columns:
        nodes, links = _fold_middle(nodes, links, len(ranks), columns)
    masses = throughput(nodes, links)
    for column in sorted({node.column for node in nodes}):
        inside = [node for node in nodes if node.column == column]
        if len(inside) > limit:
            inside.sort(key=lambda node: (-sum(masses[node.id].values()), node.id))
            small = inside[limit - 1 :]
            box = Node(f"{OTHERS}-{column}", (f"{len(small)} others",), OTHERS, column)
            nodes, links = _merge(nodes, links, small, box)
    return nodes, links


def layout(nodes: Sequence[Node], links: Sequence[Link], *, limit: int = LIMIT, columns: int = COLUMNS) -> Picture:
    """Place boxes and bands; the same input gives the same picture. Raises ``ValueError`` as ``condense``."""
    nodes, links = condense(nodes, links, limit=limit, columns=columns)
    masses = throughput(nodes, links)
    scale = _scale(nodes, masses)
    crowd = Counter(node.column for node in nodes)
    slots = {
        node.id: _box(node, scale * sum(masses[node.id].values()), masses, crowd[node.column] > ROOMY) for node in nodes
    }
    bands = [_band(link, slots, scale) for link in links]
    _order_and_place(slots, bands)
    _attach(bands)
    last = max((slot.column for slot in slots.values()), default=0)
    return Picture(
        width=last * (BOX_WIDTH + GUTTER) + BOX_WIDTH,
        height=max((slot.top + slot.height for slot in slots.values()), default=0.0),
        nodes=tuple(nodes),
        links=tuple(links),
        slots=tuple(slots.values()),
        bands=tuple(bands),
        masses=masses,
    )


def sentences(nodes: Sequence[Node], links: Sequence[Link]) -> tuple[str, ...]:
    """The picture in words, one sentence a band, from left to right: for those who hear it or can't see it."""
    by_id = {node.id: node for node in nodes}
    ordered = sorted(links, key=lambda link: (by_id[link.source].column, by_id[link.target].column, -link.mg))
    return tuple(
        f"{' '.join(by_id[link.source].lines)} to {' '.join(by_id[link.target].lines)}: "
        f"{format_grams(link.mg)} g {link.metal}"
        for link in ordered
    )


def _check(nodes: Sequence[Node], links: Sequence[Link]) -> None:
    by_id = {node.id: node for node in nodes}
    if len(by_id) != len(nodes):
        raise ValueError("Two nodes of a flow picture have the same id.")
    for link in links:
        if link.source not in by_id or link.target not in by_id:
            raise ValueError(f"The link {link.source} to {link.target} leads to no node.")
        if link.mg < 0:
            raise ValueError(f"The link {link.source} to {link.target} carries less than nothing.")
        if by_id[link.source].column >= by_id[link.target].column:
            raise ValueError(f"The link {link.source} to {link.target} does not run to the right.")


def _fold_middle(
    nodes: Sequence[Node], links: Sequence[Link], count: int, columns: int
) -> tuple[list[Node], list[Link]]:
    head = columns // 2
    tail = columns - head - 1
    middle = [node for node in nodes if head <= node.column < count - tail]
    shift = count - columns
    box = Node(OTHERS, (f"{len(middle)} lots between",), OTHERS, head)
    nodes, links = _merge(nodes, links, middle, box)
    moved = [replace(node, column=node.column - shift) if node.column >= count - tail else node for node in nodes]
    return moved, links


def _merge(
    nodes: Sequence[Node], links: Sequence[Link], inside: Sequence[Node], box: Node
) -> tuple[list[Node], list[Link]]:
    names = {node.id: box.id for node in inside}
    summed: Counter = Counter()
    for link in links:
        source, target = names.get(link.source, link.source), names.get(link.target, link.target)
        if source != target:
            summed[source, target, link.metal] += link.mg
    kept = [node for node in nodes if node.id not in names]
    return [*kept, box], [Link(source, target, mg, metal) for (source, target, metal), mg in summed.items()]


def _scale(nodes: Sequence[Node], masses: dict[str, dict[str, int]]) -> float:
    """Drawing units per milligram, so that the fullest column carries bands of a sensible height."""
    totals: Counter = Counter()
    for node in nodes:
        totals[node.column] += sum(masses[node.id].values())
    fullest = max(totals.values(), default=0)
    crowd = max(Counter(node.column for node in nodes).values(), default=0)
    return min(max(72, 48 * crowd), 320) / fullest if fullest else 0.0


def label(node: Node, masses: dict[str, dict[str, int]], *, crowded: bool) -> list[str]:
    """The lines in a box, cut to its width; the last ones say the mass."""
    lines = [_cut(line) for line in node.lines[: 1 if crowded else 3]]
    return lines + [f"{format_grams(mg)} g {metal}" for metal, mg in masses[node.id].items()]


def _cut(text: str, most: int = 18) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _box(node: Node, flow: float, masses: dict[str, dict[str, int]], crowded: bool) -> Slot:
    lines = len(label(node, masses, crowded=crowded))
    return Slot(node.id, node.column, node, flow, max(flow, lines * LINE + 2 * PADDING))


def _band(link: Link, slots: dict[str, Slot], scale: float) -> Band:
    source, target = slots[link.source], slots[link.target]
    width = scale * link.mg
    run = [source]
    for column in range(source.column + 1, target.column):
        key = f"{link.source}\n{link.target}\n{link.metal}\n{column}"
        slots[key] = Slot(key, column, None, width, max(width, 2.0))
        run.append(slots[key])
    return Band(link, [*run, target], width)


def _order_and_place(slots: dict[str, Slot], bands: Sequence[Band]) -> None:
    columns: dict[int, list[Slot]] = defaultdict(list)
    for slot in sorted(slots.values(), key=lambda slot: (-slot.flow, slot.key)):
        columns[slot.column].append(slot)
    before: dict[str, list[tuple[Slot, float]]] = defaultdict(list)
    after: dict[str, list[tuple[Slot, float]]] = defaultdict(list)
    for band in bands:
        for left, right in pairwise(band.slots):
            weight = max(band.width, 0.1)
            after[left.key].append((right, weight))
            before[right.key].append((left, weight))
    ranks = sorted(columns)
    for column in columns.values():
        _stack(column)
    for sweep in range(SWEEPS):
        neighbours = after if sweep % 2 else before
        for rank in reversed(ranks) if sweep % 2 else ranks:
            # Stable sort: a slot without neighbours on that side stays where it is.
            columns[rank].sort(key=lambda slot: _pull(slot, neighbours[slot.key]))
            _stack(columns[rank])
    tallest = max((column[-1].top + column[-1].height for column in columns.values()), default=0.0)
    for sweep in range(SWEEPS):
        neighbours = after if sweep % 2 else before
        for rank in reversed(ranks) if sweep % 2 else ranks:
            _settle(columns[rank], neighbours, tallest)


def _pull(slot: Slot, neighbours: Sequence[tuple[Slot, float]]) -> float:
    weight = sum(share for _, share in neighbours)
    return sum(other.middle * share for other, share in neighbours) / weight if weight else slot.middle


def _stack(column: Sequence[Slot]) -> None:
    top = 0.0
    for slot in column:
        slot.top = top
        top += slot.height + GAP


def _settle(column: Sequence[Slot], neighbours: dict[str, list[tuple[Slot, float]]], tallest: float) -> None:
    """Pull each slot towards its neighbours' height, then push overlaps apart, keeping the order.

    Overlaps are pushed outward from the middle: pushed down from the top, a crowded column would sag.
    """
    for slot in column:
        slot.top = _pull(slot, neighbours[slot.key]) - slot.height / 2
    middle = len(column) // 2
    _push_up(column[: middle + 1], column[middle].top + column[middle].height)
    _push_down(column[middle:], column[middle].top)
    _push_up(column, tallest)
    _push_down(column, 0.0)


def _push_down(column: Sequence[Slot], floor: float) -> None:
    for slot in column:
        slot.top = max(slot.top, floor)
        floor = slot.top + slot.height + GAP


def _push_up(column: Sequence[Slot], ceiling: float) -> None:
    for slot in reversed(column):
        slot.top = min(slot.top, ceiling - slot.height)
        ceiling = slot.top - GAP


def _attach(bands: Sequence[Band]) -> None:
    """Stack the bands at each side of each box in the order of their other ends, so that they cross least."""
    leaving: dict[str, list[Band]] = defaultdict(list)
    arriving: dict[str, list[Band]] = defaultdict(list)
    for band in bands:
        leaving[band.slots[0].key].append(band)
        arriving[band.slots[-1].key].append(band)
        for slot in band.slots[1:-1]:
            band.in_top.append(slot.middle - band.width / 2)
            band.out_top.append(slot.middle - band.width / 2)
    for side, other in ((leaving, 1), (arriving, -2)):
        for group in side.values():
            group.sort(key=lambda band: (band.slots[other].middle, band.link.metal))
            slot = group[0].slots[0 if other == 1 else -1]
            top = slot.middle - sum(band.width for band in group) / 2
            for band in group:
                if other == 1:
                    band.out_top.insert(0, top)
                else:
                    band.in_top.append(top)
                top += band.width


def svg(picture: Picture, *, title: str, desc: str, key: str = "flow") -> str:
    """The picture as an SVG element, safe to put into a page as it stands; ``key`` keeps its ids apart from others'.

    ``title`` and ``desc`` are its names for a screen reader. It scales with its container; a page that is narrower
    than the picture had better let it scroll than shrink its letters.
    """
    width, height = number(picture.width + 2), number(picture.height + 2)
    drawn = [_draw_band(picture, band) for band in sorted(picture.bands, key=lambda band: -band.width)]
    drawn += [_draw_box(picture, slot) for slot in picture.slots if slot.node]
    return mark_safe(  # every text in it went through text()
        f'<svg xmlns="http://www.w3.org/2000/svg" class="flow" role="img" aria-labelledby="{key}-title {key}-desc"'
        f' viewBox="-1 -1 {width} {height}" width="{width}" height="{height}" preserveAspectRatio="xMinYMin meet"'
        f' font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="11">'
        f'<title id="{key}-title">{text(title)}</title><desc id="{key}-desc">{text(desc)}</desc>{"".join(drawn)}</svg>'
    )


def data_uri(drawing: str) -> str:
    """The SVG as a picture address, for a paper."""
    return "data:image/svg+xml;base64," + b64encode(drawing.encode()).decode()


def number(value: float) -> str:
    """A coordinate, rounded at the very end to a tenth of a unit."""
    return f"{value + 0.0:.1f}".removesuffix(".0")


def _draw_band(picture: Picture, band: Band) -> str:
    """A band runs level past the columns it does not stop in, and swings between columns."""
    width = max(band.width, 0.8)
    xs = [(left.left + BOX_WIDTH, right.left) for left, right in pairwise(band.slots)]
    steps = list(zip(xs, band.out_top, band.in_top, strict=True))
    there = [_swing(start, end, out, into) for (start, end), out, into in steps]
    back = [_swing(end, start, into + width, out + width) for (start, end), out, into in reversed(steps)]
    path = "M" + "L".join(there + back) + "Z"
    link = band.link
    name = f"{_name(picture, link.source)} to {_name(picture, link.target)}: {format_grams(link.mg)} g {link.metal}"
    return (
        f'<path class="flow-band flow-{text(link.metal)}" fill="{FILLS.get(link.metal, "#999999")}" fill-opacity="0.6"'
        f' d="{path}"><title>{text(name)}</title></path>'
    )


def _swing(x: float, to_x: float, y: float, to_y: float) -> str:
    half = number((x + to_x) / 2)
    return f"{number(x)} {number(y)}C{half} {number(y)} {half} {number(to_y)} {number(to_x)} {number(to_y)}"


def _draw_box(picture: Picture, slot: Slot) -> str:
    node = slot.node
    crowded = sum(other.column == slot.column for other in picture.nodes) > ROOMY
    lines = label(node, picture.masses, crowded=crowded)
    edge, dash = EDGES.get(node.kind, (1.0, ""))
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    first = slot.middle - len(lines) * LINE / 2 + LINE - 3.5
    words = "".join(
        f'<text x="{number(slot.left + 7)}" y="{number(first + row * LINE)}" fill="#211d17"'
        f"{BOLD if row == 0 else ''}>{text(line)}</text>"
        for row, line in enumerate(lines)
    )
    return (
        f'<g class="flow-box flow-{text(node.kind)}"><title>{text(_name(picture, node.id))}</title>'
        f'<rect x="{number(slot.left)}" y="{number(slot.top)}" width="{BOX_WIDTH}" height="{number(slot.height)}"'
        f' rx="2" fill="#fdfbf5" stroke="#211d17" stroke-width="{edge}"{dashes}/>{words}</g>'
    )


def _name(picture: Picture, node_id: str) -> str:
    return next(" ".join(node.lines) for node in picture.nodes if node.id == node_id)
