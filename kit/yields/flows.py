"""Which flow runs from where to where? The flow graph that a reconciliation stands on.

Nodes are stages and transfers; what enters a node leaves it. A flow from or to OUTSIDE crosses the
border of the batch.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy as sp

from kit.errors import need_known
from kit.faults import need_said
from kit.stages import STAGES
from kit.working import Result, notes_of
from kit.yields.ledger import SCRAP, SIGN, WeightEntry, checked
from kit.yields.sections import sections

OUTSIDE = ""
PREDICTED = ", predicted"
"""ends the name of a loss that is put in as expected, not as weighed"""


@dataclass(frozen=True)
class Flow:
    """One stream; in a Graph its weight is one column."""

    name: str
    source: str = OUTSIDE
    target: str = OUTSIDE


@dataclass(frozen=True)
class Graph:
    """Nodes that keep no weight and the flows between them. Raises OutOfRange where it falls apart."""

    nodes: tuple[str, ...]
    flows: tuple[Flow, ...]

    def __post_init__(self):
        for words in (self.nodes, self.names):
            double = sorted({word for word in words if list(words).count(word) > 1})
            need_said(not double, "name twice", double=", ".join(double))
        for flow in self.flows:
            for end in (flow.source, flow.target):
                if end != OUTSIDE:
                    need_known(f"node of flow {flow.name!r}", end, self.nodes)
            need_said(flow.source != flow.target, "flow to itself", flow=flow.name)
        closed = [" + ".join(g) for g in self.merged(self.flows) if OUTSIDE not in g]
        need_said(not closed, "closed graph", closed="; ".join(closed))

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(flow.name for flow in self.flows)

    @cached_property
    def incidence(self) -> np.ndarray:
        """(nodes, flows): +1 where a flow enters, -1 where it leaves; times kg: what is missing."""
        matrix = np.zeros((len(self.nodes), len(self.flows)))
        for column, flow in enumerate(self.flows):
            if flow.target != OUTSIDE:
                matrix[self.nodes.index(flow.target), column] += 1
            if flow.source != OUTSIDE:
                matrix[self.nodes.index(flow.source), column] -= 1
        return matrix

    def merged(self, joined: Iterable[Flow]) -> tuple[tuple[str, ...], ...]:
        """The nodes (and OUTSIDE) in groups held together by the `joined` flows."""
        places = {node: n for n, node in enumerate((OUTSIDE, *self.nodes))}
        links = np.zeros((len(places), len(places)))
        for flow in joined:
            links[places[flow.source], places[flow.target]] = 1
        groups: dict[int, list[str]] = {}
        for node, group in zip(
            places, sp.sparse.csgraph.connected_components(links, directed=False)[1]
        ):
            groups.setdefault(group, []).append(node)
        return tuple(tuple(group) for group in groups.values())

    def column(self, flow: str) -> int:
        need_known("flow", flow, self.names)
        return self.names.index(flow)


@dataclass(frozen=True)
class Checks:
    """The balances that remain when some flows are not weighed.

    Nodes joined by an unweighed flow balance only together; a node with an unweighed flow to the
    outside cannot be checked. What is left is `matrix` (checks, flows), zero in unweighed columns.
    """

    names: tuple[str, ...]
    joined: np.ndarray
    """(checks, nodes) True for the nodes that a check balances together"""
    matrix: np.ndarray
    weighed: np.ndarray
    determinable: np.ndarray
    """(flows,) True for unweighed flows that follow from the others"""


def checks(graph: Graph, weighed: np.ndarray) -> Checks:
    """The balances that can be checked with the flows where `weighed` (flows,) is True."""
    weighed = np.asarray(weighed, bool)
    open_flows = [flow for flow, known in zip(graph.flows, weighed) if not known]
    groups = [group for group in graph.merged(open_flows) if OUTSIDE not in group]
    joined = np.array([[node in group for node in graph.nodes] for group in groups], bool)
    joined = joined.reshape(len(groups), len(graph.nodes))
    determinable = np.zeros(len(graph.flows), bool)
    if not weighed.all():
        # An unweighed flow is fixed by the balances unless it lies on a loop of unweighed flows
        # (the outside closes loops too).
        _, singular, vectors = np.linalg.svd(graph.incidence[:, ~weighed])
        loops = vectors[(singular > 1e-9).sum() :]
        determinable[~weighed] = np.abs(loops).max(axis=0, initial=0) < 1e-9
    names = tuple(" + ".join(group) for group in groups)
    return Checks(names, joined, joined @ graph.incidence, weighed, determinable)


@dataclass(frozen=True, eq=False)
class WeighedFlows(Result):
    """A graph with one batch's weights on it; NaN where a flow was not weighed."""

    graph: Graph
    kg: np.ndarray
    sd_kg: np.ndarray


def flows_of(
    entries: Iterable[WeightEntry],
    scale_sd_kg: float | None = None,
    predicted_loss_kg: Mapping[str, tuple[float, float]] | None = None,
) -> WeighedFlows:
    """The flow graph of a ledger: a node per stage, and one per transfer weighed on both sides.

    entries: weights in kg, 0 or more, from `at`.
    scale_sd_kg: standard deviation, kg, 0 or more, where an entry has none of its own.
    predicted_loss_kg: {"cook": (130, 8)}: expected loss of a stage and its standard deviation, kg,
    put in as if weighed.
    Returns WeighedFlows. A stage whose loss is neither weighed as scrap nor predicted gets an
    unweighed outflow: it closes by definition.
    Raises Faulty for entries that cannot be used, UnknownName for a stage, OutOfRange for a missing
    standard deviation and for a prediction of a stage that was not weighed.
    Source: mass balance.
    """
    entries = checked(entries)
    predicted = dict(predicted_loss_kg or {})
    for stage in predicted:
        need_known("stage", stage, STAGES)
    lines = sections(entries)
    here = [stage for line in lines for stage in line.stages]
    need_said(bool(here), "only transfers")
    missed = ", ".join(stage for stage in predicted if stage not in here)
    need_said(not missed, "prediction not weighed", missed=missed, here=", ".join(here))
    found: list[tuple[Flow, float, float | None]] = []
    notes: list[str] = []

    def put(name: str, source: str, target: str, weight: float, own_sd: float | None) -> None:
        told = scale_sd_kg if own_sd is None else own_sd
        need_said(weight != weight or told is not None, "weight without uncertainty", name=name)
        found.append((Flow(name, source, target), weight, np.nan if weight != weight else told))

    nodes = tuple(line.stage for line in lines)
    stream = (lines[0].start, *(line.end for line in lines))
    for point, source, target in zip(stream, (OUTSIDE, *nodes), (*nodes, OUTSIDE)):
        put(point.label, source, target, point.kg, point.sd_kg)
    labels = [e.label for line in lines for e in line.sides]
    for line in lines:
        for e in line.sides:
            ends = (OUTSIDE, line.stage) if SIGN[e.kind] > 0 else (line.stage, OUTSIDE)
            name = e.label if labels.count(e.label) == 1 else f"{e.kind} {e.label}"
            put(name, *ends, e.kg, e.sd_kg)
        told = [stage for stage in line.stages if stage in predicted]
        for stage in told:
            loss, loss_sd = predicted[stage]
            put(f"lost in {stage}{PREDICTED}", line.stage, OUTSIDE, float(loss), loss_sd)
        loss_known = len(told) == len(line.stages) or any(e.kind == SCRAP for e in line.sides)
        if line.stages and not loss_known:
            put(f"unrecorded in {line.stage}", line.stage, OUTSIDE, np.nan, None)
            notes += notes_of("flows of a ledger", {}, stage=line.stage)
        if line.bridge:
            notes.append(line.bridge)
    flows, kg, sd = zip(*found)
    return WeighedFlows(Graph(nodes, flows), np.array(kg), np.array(sd), own_notes=tuple(notes))
