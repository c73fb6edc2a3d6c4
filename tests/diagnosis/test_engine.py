"""Exact inference against printed numbers, against hand and pencil, and its errors."""

from __future__ import annotations

from itertools import product
from math import log, log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from printed import printed
from sagtrace.diagnosis.engine import Engine
from sagtrace.diagnosis.network import Network, Table
from sagtrace.errors import ContradictionError, InputError

Array = NDArray[np.float64]
NO_YES = ("no", "yes")
YES, NO = np.array([0.0, 1.0]), np.array([1.0, 0.0])


def yes(child: str, p: ArrayLike, *parents: str) -> Table:
    """Return the table of a variable that is there with probability p, by parents' states."""
    there = np.asarray(p, dtype=np.float64)
    values = np.stack([1.0 - there, there], axis=-1)
    return Table(child=child, states=NO_YES, parents=parents, values=values)


def chance(engine: Engine, variable: str, **evidence: Array) -> float:
    return float(engine.posterior(evidence, [variable]).marginals[variable][1])


# --- Asia

ASIA_PAPER = "Lauritzen and Spiegelhalter, J. Royal Stat. Soc. B 50 (1988), 2.1: the chest clinic"


@pytest.fixture(scope="module")
def asia() -> Engine:
    tables = (
        yes("asia", 0.01),
        yes("smoke", 0.5),
        yes("tub", [0.01, 0.05], "asia"),
        yes("lung", [0.01, 0.10], "smoke"),
        yes("bronc", [0.30, 0.60], "smoke"),
        yes("either", [[0.0, 1.0], [1.0, 1.0]], "tub", "lung"),
        yes("xray", [0.05, 0.98], "either"),
        yes("dysp", [[0.10, 0.80], [0.70, 0.90]], "either", "bronc"),
    )
    return Engine(Network(tables=tables))


@pytest.mark.from_memory(ASIA_PAPER)
@pytest.mark.parametrize(
    ("seen", "variable", "expected"),
    [
        ("", "either", "0.064828"),
        ("", "xray", "0.110290"),
        ("", "dysp", "0.435971"),
        ("asia dysp", "tub", "0.087751"),
        ("asia dysp", "lung", "0.099525"),
        ("asia dysp", "bronc", "0.811402"),
        ("asia dysp xray", "tub", "0.391712"),
        ("asia dysp xray", "lung", "0.444271"),
    ],
)
def test_chest_clinic(asia: Engine, seen: str, variable: str, expected: str) -> None:
    assert chance(asia, variable, **dict.fromkeys(seen.split(), YES)) == printed(expected)


# --- The polybox

POLYBOX = "de Kleer and Williams, Artificial Intelligence 32 (1987), the circuit of 3 x and 2 +"
BOXES = ("M1", "M2", "M3", "A1", "A2")
Box = dict[str, bool]  # box -> broken
POINTS = "xyz"


def explained(broken: Box) -> set[tuple[int, ...]]:
    """Return what x, y and z may be, with 3 2 2 3 3 going in and 10 and 12 coming out.

    x = a c = 6 unless M1 is broken, y = b d = 6 unless M2, z = c e = 6 unless M3;
    x + y = 10 unless A1 is broken and y + z = 12 unless A2. A broken box may give anything.
    """
    a, b, c, d, e, f, g = 3, 2, 2, 3, 3, 10, 12
    return {
        (x, y, z)
        for x, y, z in product(range(f + g + 1), repeat=3)
        if (broken["M1"] or x == a * c)
        and (broken["M2"] or y == b * d)
        and (broken["M3"] or z == c * e)
        and (broken["A1"] or x + y == f)
        and (broken["A2"] or y + z == g)
    }


CANDIDATES = [dict(zip(BOXES, bits, strict=True)) for bits in product([False, True], repeat=5)]


@pytest.fixture(scope="module")
def polybox() -> Engine:
    """Consistency only: a candidate (a set of broken boxes) is allowed or not, all alike.

    Five boxes, each broken with probability 0.01; a variable with one state a candidate;
    `allowed`: the candidate explains the two outputs. A point shows the value that a
    candidate forces on it. Where it forces none, the values that any allowed candidate
    forces there are taken as equally likely: two of them at each of x, y and z.
    """
    shape = (2,) * 5
    worlds = [explained(broken) for broken in CANDIDATES]
    tables = [yes(box, 0.01) for box in BOXES]
    names = tuple(" ".join(b for b in BOXES if broken[b]) or "none" for broken in CANDIDATES)
    which = np.eye(32).reshape(*shape, 32)
    tables.append(Table(child="candidate", states=names, parents=BOXES, values=which))
    tables.append(yes("allowed", [float(bool(world)) for world in worlds], "candidate"))
    for i, point in enumerate(POINTS):
        forced = [{values[i] for values in world} for world in worlds]
        seen = sorted({min(value) for value in forced if len(value) == 1})
        rows = [
            [float(v in value) if len(value) == 1 else 1.0 / len(seen) for v in seen]
            for value in forced
        ]
        states = tuple(map(str, seen))
        tables.append(
            Table(child=point, states=states, parents=("candidate",), values=np.array(rows))
        )
    return Engine(Network(tables=tuple(tables)))


def bits(p: Array) -> float:
    return -sum(float(q) * log2(q) for q in p if q > 0.0)


@pytest.mark.from_memory(POLYBOX)
def test_polybox_candidates() -> None:
    allowed = [
        frozenset(box for box in BOXES if broken[box]) for broken in CANDIDATES if explained(broken)
    ]
    assert len(allowed) == 27
    smallest = {s for s in allowed if not any(other < s for other in allowed)}
    assert smallest == {frozenset(s.split()) for s in ("M1", "A1", "M2 M3", "M2 A2")}


@pytest.mark.arithmetic("polybox, boxes broken with 0.01 each, candidates by consistency alone")
@pytest.mark.parametrize(
    ("box", "expected"),
    [("M1", "0.4976"), ("A1", "0.4976"), ("M2", "0.0196"), ("M3", "0.0148"), ("A2", "0.0148")],
)
def test_polybox_chances(polybox: Engine, box: str, expected: str) -> None:
    assert chance(polybox, box, allowed=YES) == printed(expected)


@pytest.mark.arithmetic("polybox: entropy of the candidates, in bits")
def test_polybox_entropy(polybox: Engine) -> None:
    now = polybox.posterior({"allowed": YES}, ["candidate"]).marginals["candidate"]
    assert bits(now) == printed("1.3594")


@pytest.mark.arithmetic("polybox: expected entropy of the candidates after one more reading")
@pytest.mark.parametrize(("point", "expected"), [("x", "0.3646"), ("y", "1.2801"), ("z", "1.3146")])
def test_polybox_expected_entropy(polybox: Engine, point: str, expected: str) -> None:
    shown = polybox.posterior({"allowed": YES}, [point]).marginals[point]
    left = 0.0
    for i, p in enumerate(shown):
        after = polybox.posterior({"allowed": YES, point: np.eye(len(shown))[i]}, ["candidate"])
        left += float(p) * bits(after.marginals["candidate"])
    assert left == printed(expected)


# --- By hand


def test_bayes_by_hand() -> None:
    """0.01 x 0.90 / (0.01 x 0.90 + 0.99 x 0.05) = 0.009 / 0.0585 = 2/13."""
    engine = Engine(Network(tables=(yes("leak", 0.01), yes("bubbles", [0.05, 0.90], "leak"))))
    answer = engine.posterior({"bubbles": YES}, ["leak"])
    assert answer.marginals["leak"][1] == pytest.approx(2 / 13, abs=1e-15)
    assert answer.log_evidence == pytest.approx(log(0.0585), abs=1e-14)


def test_soft_evidence_by_hand() -> None:
    """Prior 0.2; a reading three times as likely with the leak: 0.6 / (0.6 + 0.8) = 3/7."""
    engine = Engine(Network(tables=(yes("leak", 0.2),)))
    answer = engine.posterior({"leak": np.array([0.25, 0.75])}, ["leak"])
    assert answer.marginals["leak"][1] == pytest.approx(3 / 7, abs=1e-15)
    assert answer.log_evidence == pytest.approx(log(0.8 * 0.25 + 0.2 * 0.75), abs=1e-14)


@pytest.fixture(scope="module")
def two_causes() -> Engine:
    return Engine(
        Network(
            tables=(
                yes("leak", 0.1),
                yes("worn", 0.2),
                yes("low", [[0.0, 1.0], [1.0, 1.0]], "leak", "worn"),
                yes("bubbles", [0.1, 0.8], "leak"),
            )
        )
    )


def test_explaining_away_by_hand(two_causes: Engine) -> None:
    """Low: worn 0.2 / (1 - 0.9 x 0.8) = 0.2 / 0.28 = 5/7. Low and leaking: back to 0.2."""
    assert chance(two_causes, "worn", low=YES) == pytest.approx(5 / 7, abs=1e-15)
    assert chance(two_causes, "worn", low=YES, leak=YES) == pytest.approx(0.2, abs=1e-15)
    assert chance(two_causes, "worn", low=YES, leak=NO) == pytest.approx(1.0, abs=1e-15)


@given(order=st.permutations(["low", "bubbles", "worn"]))
@settings(max_examples=10, deadline=None)
def test_order_of_evidence_does_not_matter(two_causes: Engine, order: list[str]) -> None:
    given_ = {"low": YES, "bubbles": NO, "worn": np.array([0.3, 0.6])}
    one = two_causes.posterior(given_, ["leak"])
    other = two_causes.posterior({name: given_[name] for name in order}, ["leak"])
    assert other.log_evidence == pytest.approx(one.log_evidence, abs=1e-14)
    assert other.marginals["leak"] == pytest.approx(one.marginals["leak"], abs=1e-14)


@given(level=st.floats(1e-3, 1e3))
@settings(max_examples=20, deadline=None)
def test_a_likelihood_that_is_the_same_everywhere_says_nothing(
    two_causes: Engine, level: float
) -> None:
    without = two_causes.posterior({"low": YES}, ["leak"])
    with_it = two_causes.posterior({"low": YES, "bubbles": np.array([level, level])}, ["leak"])
    assert with_it.marginals["leak"] == pytest.approx(without.marginals["leak"], abs=1e-13)
    assert with_it.log_evidence == pytest.approx(without.log_evidence + log(level), abs=1e-9)


def test_no_evidence_is_certain(two_causes: Engine) -> None:
    answer = two_causes.posterior({}, ["leak", "low"])
    assert answer.log_evidence == 0.0
    assert answer.marginals["low"] == pytest.approx([0.72, 0.28], abs=1e-15)


def test_a_solver_keeps_no_evidence_from_one_question_to_the_next(two_causes: Engine) -> None:
    solver = two_causes.solver(["worn"])
    solver.posterior({"low": YES, "leak": YES})
    answer = solver.posterior({"low": YES})
    assert answer.marginals["worn"][1] == pytest.approx(5 / 7, abs=1e-15)
    assert list(answer.marginals) == ["worn"]


# --- Errors


def test_findings_that_contradict_each_other(two_causes: Engine) -> None:
    text = "nothing explains these findings together: low, leak, worn."
    with pytest.raises(ContradictionError, match=text):
        two_causes.posterior({"low": YES, "leak": NO, "worn": NO}, ["worn"])


def test_answers_that_leave_no_state(two_causes: Engine) -> None:
    text = "no state of bubbles explains what was found there"
    with pytest.raises(ContradictionError, match=text):
        two_causes.posterior({"bubbles": YES * NO}, ["leak"])


def test_a_likelihood_of_the_wrong_length(two_causes: Engine) -> None:
    with pytest.raises(InputError, match="bubbles: 3 likelihoods for 2 states"):
        two_causes.posterior({"bubbles": np.ones(3)}, ["leak"])


def test_a_table_that_does_not_add_up() -> None:
    """pyAgrum would scale it to 1 without a word."""
    table = Table(child="leak", states=NO_YES, parents=(), values=np.array([0.9, 0.2]))
    with pytest.raises(InputError, match="the table of leak does not add up to 1"):
        Engine(Network(tables=(table,)))
