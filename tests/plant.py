"""One batch, or thousands, of an invented plant: flows that balance, then weights as scales would show them.

For tests. The shares lost are usual ranges of the trade, editable, and never norms.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence

import numpy as np

from kit import tables
from kit.errors import OutOfRange, UnknownName, need
from kit.stages import STAGES
from kit.yields.flows import OUTSIDE, Flow, Graph
from kit.yields.ledger import WeightEntry, checked
from kit.yields.mistakes import leaked
from kit.yields.sections import sections


def usual_loss_pct() -> dict[str, float]:
    """Stage -> usual loss, % of the weight into the stage: middle of the range (common practice)."""
    stages = ("thaw", "trim", "grind", "chop", "cook", "chill", "peel")
    return {stage: tables.value(f"yields_loss_{stage}_pct") for stage in stages}


def standard_graph(
    stages: Sequence[str] = tuple(STAGES)[:-1],  # a plant grills nothing
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


def batch_flows(
    graph: Graph,
    first_kg,
    *,
    added_kg: Mapping | None = None,
    loss_pct: Mapping | None = None,
    rework_kg: Mapping | None = None,
    sample_kg: Mapping | None = None,
    unrecorded_kg: Mapping | None = None,
) -> np.ndarray:
    """Flows (n_batches, n_flows) of flows.standard_graph that balance at every stage.

    `first_kg` enters the first stage. By flow name: `added_kg` {"ice into chop": 250}, `rework_kg`, `sample_kg`; by stage:
    `loss_pct` of all that enters the stage, and `unrecorded_kg`, which leaves the stage through no flow of the graph and so
    unbalances the stage there. Every amount may be an array over batches. Flows not named are 0.
    """
    if loss_pct is None:
        loss_pct = {
            stage: pct
            for stage, pct in usual_loss_pct().items()
            if f"lost in {stage}" in graph.names
        }
    named = {**(added_kg or {}), **(rework_kg or {}), **(sample_kg or {})}
    for stage in (*loss_pct, *(unrecorded_kg or {})):
        if stage not in graph.nodes:
            raise UnknownName("stage of this graph", stage, graph.nodes)
    for stage in loss_pct:
        need(
            f"lost in {stage}" in graph.names,
            f"this graph has no flow for what is lost in {stage}; "
            "build it with that loss, or let it leave as unrecorded_kg",
        )
    columns = {graph.column(name): np.asarray(kg, float) for name, kg in named.items()}
    amounts = (first_kg, *columns.values(), *loss_pct.values(), *(unrecorded_kg or {}).values())
    shape = np.broadcast_shapes((1,), *(np.shape(a) for a in amounts))
    flows = np.zeros((*shape, len(graph.flows)))
    flows[..., graph.column(f"into {graph.nodes[0]}")] = first_kg
    for column, kg in columns.items():
        flows[..., column] = kg
    onward = [graph.column(f"{a} to {b}") for a, b in zip(graph.nodes, graph.nodes[1:])] + [
        graph.column(f"out of {graph.nodes[-1]}")
    ]
    for node, main in zip(graph.nodes, onward):
        entering = sum(flows[..., c] for c, flow in enumerate(graph.flows) if flow.target == node)
        lost = entering * np.asarray(loss_pct.get(node, 0.0)) / 100
        if node in loss_pct:
            flows[..., graph.column(f"lost in {node}")] = lost
        aside = sum(
            (
                flows[..., c]
                for c, flow in enumerate(graph.flows)
                if flow.source == node and c != main and flow.name != f"lost in {node}"
            ),
            0.0,
        )
        left = entering - lost - aside - np.asarray((unrecorded_kg or {}).get(node, 0.0))
        if np.any(left < 0):
            raise OutOfRange(
                f"more leaves {node} than the {float(np.min(entering)):g} kg that enter it; take less out, or start with more"
            )
        flows[..., main] = left
    return flows


def weigh(
    graph: Graph,
    true_kg: np.ndarray,
    sd_kg,
    rng: np.random.Generator,
    reads_wrong_kg: Mapping | None = None,
) -> np.ndarray:
    """What the scales show: true flows, plus a normal error of `sd_kg`, plus a fixed error of named flows (arrays over
    batches allowed). A scale is taken to show nothing below 0 kg."""
    true_kg = np.atleast_2d(np.asarray(true_kg, float))
    need(
        true_kg.shape[-1] == len(graph.flows),
        f"the flows have shape {true_kg.shape}; this graph has {len(graph.flows)} flows",
    )
    shown = true_kg + rng.normal(size=true_kg.shape) * np.asarray(sd_kg, float)
    for name, kg in (reads_wrong_kg or {}).items():
        shown[:, graph.column(name)] += kg
    return np.maximum(shown, 0.0)


def without_gaps(entries: Iterable[WeightEntry]) -> tuple[WeightEntry, ...]:
    """Every transfer closed: later weights are raised by what was missing on the way."""
    entries = checked(entries)
    for n, line in enumerate(sections(entries)):
        if line.is_transfer:
            entries = leaked(entries, line.stage, -sections(entries)[n].lost_kg)
    return entries
