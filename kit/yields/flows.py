"""Which flow runs from where to where? The flow graph that a reconciliation stands on.

Nodes are stages and hand-overs; what enters a node leaves it. A flow from or to OUTSIDE crosses the border of the batch.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kit.errors import OutOfRange, UnknownName, need
from kit.stages import STAGES
from kit.yields.ledger import SCRAP, SIGN, Entry, checked, place_of, points
from kit.yields.spans import layout

OUTSIDE = ""
PREDICTED = ", predicted"
"""ends the name of a loss that is put on the books as expected, not as weighed"""


@dataclass(frozen=True)
class Flow:
    """One stream; in a Graph its weight is one column."""

    name: str
    source: str = OUTSIDE
    target: str = OUTSIDE


@dataclass(frozen=True)
class Graph:
    """Nodes that keep no weight and the flows between them. Raises OutOfRange where it does not hang together."""

    nodes: tuple[str, ...]
    flows: tuple[Flow, ...]

    def __post_init__(self):
        names = [flow.name for flow in self.flows]
        for words in (self.nodes, names):
            double = sorted({word for word in words if list(words).count(word) > 1})
            need(
                not double,
                f"the name {', '.join(double)} is used twice in the flow graph; give each node and flow a name of its own",
            )
        for flow in self.flows:
            for end in (flow.source, flow.target):
                if end != OUTSIDE and end not in self.nodes:
                    raise UnknownName(f"node of flow {flow.name!r}", end, self.nodes)
            need(
                flow.source != flow.target,
                f"flow {flow.name!r} starts and ends at the same place; leave it out",
            )
        closed = [group for group in self.merged(self.flows) if OUTSIDE not in group]
        need(
            not closed,
            "nothing enters or leaves "
            + "; ".join(" + ".join(group) for group in closed)
            + ": add the flow from or to the outside",
        )

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(flow.name for flow in self.flows)

    @cached_property
    def incidence(self) -> np.ndarray:
        """(nodes, flows): +1 where the flow enters the node, -1 where it leaves; incidence @ kg = what is missing at each node."""
        matrix = np.zeros((len(self.nodes), len(self.flows)))
        for column, flow in enumerate(self.flows):
            if flow.target != OUTSIDE:
                matrix[self.nodes.index(flow.target), column] += 1
            if flow.source != OUTSIDE:
                matrix[self.nodes.index(flow.source), column] -= 1
        return matrix

    def merged(self, joined: Iterable[Flow]) -> tuple[tuple[str, ...], ...]:
        """The nodes (and OUTSIDE) in groups held together by the `joined` flows."""
        root = {node: node for node in (OUTSIDE, *self.nodes)}

        def find(node):
            while root[node] != node:
                node = root[node]
            return node

        for flow in joined:
            a, b = find(flow.source), find(flow.target)
            if a != b:
                root[b if a == OUTSIDE else a] = a if a == OUTSIDE else b
        groups: dict[str, list[str]] = {}
        for node in root:
            groups.setdefault(find(node), []).append(node)
        return tuple(tuple(group) for group in groups.values())

    def column(self, flow: str) -> int:
        if flow not in self.names:
            raise UnknownName("flow", flow, self.names)
        return self.names.index(flow)


@dataclass(frozen=True)
class Checks:
    """The balances that remain when some flows are not weighed.

    Nodes joined by an unweighed flow balance only together; a node with an unweighed flow to the outside cannot be
    checked. What is left is `matrix` (checks, flows), zero in the unweighed columns.
    """

    names: tuple[str, ...]
    groups: tuple[tuple[int, ...], ...]
    matrix: np.ndarray
    weighed: np.ndarray
    determinable: np.ndarray
    """(flows,) True for unweighed flows that follow from the others"""


def checks(graph: Graph, weighed: np.ndarray) -> Checks:
    """The balances that can be checked with the flows where `weighed` (flows,) is True."""
    weighed = np.asarray(weighed, bool)
    groups = [
        group
        for group in graph.merged(f for f, known in zip(graph.flows, weighed) if not known)
        if OUTSIDE not in group
    ]
    rows = [tuple(graph.nodes.index(node) for node in group) for group in groups]
    matrix = np.array([graph.incidence[list(row)].sum(axis=0) for row in rows]).reshape(
        len(rows), len(graph.flows)
    )
    determinable = np.zeros(len(graph.flows), bool)
    if not weighed.all():
        # An unweighed flow is fixed by the balances unless it lies on a loop of unweighed flows (the outside closes loops too).
        _, singular, vectors = np.linalg.svd(graph.incidence[:, ~weighed])
        loops = vectors[(singular > 1e-9).sum() :]
        determinable[~weighed] = np.abs(loops).max(axis=0, initial=0) < 1e-9
    return Checks(
        tuple(" + ".join(group) for group in groups), tuple(rows), matrix, weighed, determinable
    )


def standard_graph(
    stages: Sequence[str] = tuple(STAGES),
    additions: Mapping[str, Sequence[str]] | None = None,
    losses: Collection[str] | None = None,
    rework: Iterable[tuple[str, str]] = (),
    samples: Collection[str] = (),
) -> Graph:
    """The line of `stages` with one weight between each two.

    `additions` names what is put in at a stage (None: ice and dry goods at chop, where chop is among the stages);
    `losses` the stages with an outflow "lost in X" (None: all); `rework` the flows (from, to) that return good product
    within the batch; `samples` the stages where samples leave. Flow order: the main stream, then these.
    """
    for stage in stages:
        if stage not in STAGES:
            raise UnknownName("stage", stage, STAGES)
    need(len(stages) > 0, "a flow graph needs at least one stage")
    line = tuple(sorted(dict.fromkeys(stages), key=list(STAGES).index))
    additions = (
        ({"chop": ("ice", "dry goods")} if "chop" in line else {})
        if additions is None
        else additions
    )
    flows = [Flow(f"into {line[0]}", OUTSIDE, line[0])]
    flows += [Flow(f"{a} to {b}", a, b) for a, b in zip(line, line[1:])]
    flows += [Flow(f"out of {line[-1]}", line[-1], OUTSIDE)]
    flows += [
        Flow(f"{name} into {stage}", OUTSIDE, stage)
        for stage, names in additions.items()
        for name in names
    ]
    flows += [
        Flow(f"lost in {stage}", stage, OUTSIDE) for stage in (line if losses is None else losses)
    ]
    flows += [Flow(f"rework {a} to {b}", a, b) for a, b in rework]
    flows += [Flow(f"sample at {stage}", stage, OUTSIDE) for stage in samples]
    return Graph(line, tuple(flows))


@dataclass(frozen=True)
class Weighed:
    """A graph with one batch's weights on it; NaN where a flow was not weighed."""

    graph: Graph
    kg: np.ndarray
    sd_kg: np.ndarray
    notes: tuple[str, ...]


def flows_of(
    entries: Iterable[Entry],
    scale_sd_kg: float | None = None,
    unrecorded: Collection[str] | None = None,
    predicted_loss_kg: Mapping[str, tuple[float, float]] | None = None,
) -> Weighed:
    """The flow graph of a ledger: a node per stage, and one per hand-over weighed on both sides.

    `scale_sd_kg` stands in where an entry has no doubt of its own. `unrecorded` names the stages that have an unweighed
    outflow; None gives one to every stage whose loss is neither weighed as scrap nor predicted, so that only hand-overs and
    fully weighed stages are checked. `predicted_loss_kg` {"cook": (130, 8)} puts an expected loss and its doubt on the books
    as if weighed.
    """
    entries = checked(entries)
    predicted = dict(predicted_loss_kg or {})
    for stage in (*predicted, *(unrecorded or ())):
        if stage not in STAGES:
            raise UnknownName("stage", stage, STAGES)
    stream = points(entries)
    sides = [
        e
        for e in entries
        if e.kind in SIGN and stream[0].place < place_of(e.stage, e.kind) < stream[-1].place
    ]
    labels = [e.label for e in sides]
    flows, kg, sd, notes = [], [], [], []

    def put(name, source, target, weight, doubt):
        doubt = scale_sd_kg if doubt is None else doubt
        need(
            weight != weight or doubt is not None,
            f"{name}: no doubt of the scale is known; give sd_kg with the entry, or scale_sd_kg for all",
        )
        flows.append(Flow(name, source, target))
        kg.append(weight)
        sd.append(np.nan if weight != weight else doubt)

    spans = layout([(p.stage, p.kind) for p in stream], {e.stage for e in sides})
    need(
        any(span.stages for span in spans),
        f"only a hand-over is weighed ({', '.join(p.label for p in stream)}); "
        "a balance needs a stage weighed in and out",
    )
    nodes = tuple(span.name for span in spans)
    for point, source, target in zip(stream, (OUTSIDE, *nodes), (*nodes, OUTSIDE)):
        put(point.label, source, target, point.kg, point.sd_kg)
    for span in spans:
        held = [e for e in sides if span.stages and span.holds(place_of(e.stage, e.kind))]
        for e in held:
            ends = (OUTSIDE, span.name) if SIGN[e.kind] > 0 else (span.name, OUTSIDE)
            put(
                e.label if labels.count(e.label) == 1 else f"{e.kind} {e.label}",
                *ends,
                e.kg,
                e.sd_kg,
            )
        told = [stage for stage in span.stages if stage in predicted]
        for stage in told:
            put(
                f"lost in {stage}{PREDICTED}",
                span.name,
                OUTSIDE,
                float(predicted[stage][0]),
                predicted[stage][1],
            )
        weighed_loss = any(e.kind == SCRAP for e in held) or (
            span.stages and len(told) == len(span.stages)
        )
        if span.stages and (
            not weighed_loss if unrecorded is None else any(s in unrecorded for s in span.stages)
        ):
            put(f"unrecorded in {span.name}", span.name, OUTSIDE, np.nan, None)
            notes.append(
                f"{span.name}: its loss is not weighed, so this stage closes by definition and checks nothing"
            )
        if span.bridge():
            notes.append(span.bridge())
    missed = [
        s
        for s in (*predicted, *(unrecorded or ()))
        if s not in {x for span in spans for x in span.stages}
    ]
    if missed:
        raise OutOfRange(
            f"{', '.join(missed)}: not weighed in this ledger, so nothing can be put on its books; weighed are "
            + ", ".join(s for span in spans for s in span.stages)
        )
    return Weighed(Graph(nodes, tuple(flows)), np.array(kg), np.array(sd), tuple(notes))
