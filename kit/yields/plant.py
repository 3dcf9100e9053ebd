"""One batch, or thousands, of an invented plant: flows that balance, then weights as scales would show them.

For lessons and for tests. The shares lost are usual ranges of the trade, editable, and never norms.
"""

from collections.abc import Mapping

import numpy as np

from kit import tables
from kit.errors import OutOfRange, UnknownName, need
from kit.yields.flows import Graph


def usual_loss_pct() -> dict[str, float]:
    """Stage -> share lost, % of the weight into the stage: the middle of the usual range (common practice)."""
    return {
        stage: tables.value(f"yields_loss_{stage}_pct")
        for stage in ("thaw", "trim", "grind", "chop", "cook", "chill", "peel")
    }


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
    unbalances the books there. Every amount may be an array over batches. Flows not named are 0.
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
    reads_wrong_pct: Mapping | None = None,
) -> np.ndarray:
    """What the scales show: true flows, plus normal doubt `sd_kg`, plus a fixed or a proportional error of named flows (arrays over
    batches allowed). A scale is taken to show nothing below 0 kg."""
    true_kg = np.atleast_2d(np.asarray(true_kg, float))
    need(
        true_kg.shape[-1] == len(graph.flows),
        f"the flows have shape {true_kg.shape}; this graph has {len(graph.flows)} flows",
    )
    shown = true_kg + rng.normal(size=true_kg.shape) * np.asarray(sd_kg, float)
    for name, kg in (reads_wrong_kg or {}).items():
        shown[:, graph.column(name)] += kg
    for name, pct in (reads_wrong_pct or {}).items():
        shown[:, graph.column(name)] += (
            true_kg[:, graph.column(name)] * np.asarray(pct, float) / 100
        )
    return np.maximum(shown, 0.0)
