"""States of knowledge nodes drawn by its own causal rule, and the state that fits a number best.

A node is the worst of a background and of what each cause contributes (noisy-max), so a draw is
the worst of independent draws. Nothing here knows the physics of the virtual vehicle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypeAlias

import numpy as np

from sagtrace.vehicle.nodes import Node, Quantity, Spread
from sagtrace.vehicle.system import System

__all__ = [
    "chances",
    "contributed",
    "draw_hidden",
    "draw_node",
    "draw_value",
    "likely_state",
    "pick",
    "worse",
]

Generator: TypeAlias = np.random.Generator

LEAST = 1e-6  # [unit of the quantity] chosen: stands for zero, where a lognormal has no density


def pick(shares: Mapping[str, float], rng: Generator) -> str:
    """Return a key, drawn by its share; what is missing to one goes to the first key."""
    at, total = float(rng.random()), 0.0
    for name, share in reversed(list(shares.items())):
        total += share
        if at < total:
            return name
    return next(iter(shares))


def worse(node: Node, a: str, b: str) -> str:
    """Return the worse of two states of a node."""
    order = node.state_ids
    return a if order.index(a) >= order.index(b) else b


def contributed(node: Node, gives: Mapping[str, float], rng: Generator) -> str:
    """Return the state that one cause contributes, drawn; healthy if it contributes nothing."""
    return pick({node.state_ids[0]: 0.0, **gives}, rng)


def draw_node(node: Node, states: Mapping[str, str], rng: Generator) -> str:
    """Return a state of the node, drawn from its background and the states of its parents."""
    state = contributed(node, node.background, rng)
    for cause in node.causes:
        gives = cause.gives.get(states[cause.parent], {})
        state = worse(node, state, contributed(node, gives, rng))
    return state


def chances(node: Node, states: Mapping[str, str]) -> Mapping[str, float]:
    """Return the exact chance of each state of the node, given the states of its parents."""
    below = np.ones(len(node.state_ids))
    parts = [node.background, *(c.gives.get(states[c.parent], {}) for c in node.causes)]
    for gives in parts:
        p = np.array([gives.get(state, 0.0) for state in node.state_ids])
        p[0] = 1.0 - p[1:].sum()
        below *= np.cumsum(p)
    return dict(zip(node.state_ids, np.diff(below, prepend=0.0).tolist(), strict=True))


def draw_hidden(
    system: System, rng: Generator, *, given: Mapping[str, str] | None = None
) -> Mapping[str, str]:
    """Return a state for every fault and condition, drawn from the knowledge, parents first.

    Nodes in `given` have that state, whatever their causes say; it works forward only.
    """
    states: dict[str, str] = {}
    for id_, node in system.nodes.items():
        drawn = draw_node(node, states, rng)
        states[id_] = (given or {}).get(id_, drawn)
    return states


def draw_value(spread: Spread, rng: Generator) -> float:
    """Return a value of a quantity, drawn from its spread in one state, in the quantity's unit."""
    z = float(rng.standard_normal())
    if spread.shape == "normal":
        return spread.centre + z * spread.width
    return float(spread.centre * spread.width**z)


def _log_density(spread: Spread, value: float) -> float:
    if spread.shape == "normal":
        return -0.5 * ((value - spread.centre) / spread.width) ** 2 - math.log(spread.width)
    value = max(value, LEAST)
    width = math.log(spread.width)
    return -0.5 * (math.log(value / spread.centre) / width) ** 2 - math.log(value * width)


def likely_state(quantity: Quantity, value: float) -> str:
    """Return the state whose spread fits the value best; beyond its end states, the end state.

    `value` is in the quantity's unit. All states count alike: a prior is no part of the truth.
    """
    return max(quantity.states, key=lambda state: _log_density(quantity.states[state], value))
