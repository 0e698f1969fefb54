"""Speed, as ratios in one run. Run with `pytest -m benchmark -s`; never part of the tests.

The case is that of the time budget: a 10 mm implant with 12 explicit threads, two loads, default
numerics. Imports are done before the clock starts.
"""

import resource
import time

import numpy as np
import pytest
import scipy.sparse as sp
import scipy.sparse.linalg as spla

from stillroot import Case, Where, check
from stillroot.answers.chain import Chain, resultant_of, solids_of
from stillroot.arch.plan import Plan
from stillroot.arch.span import ALL, Ready, check_span
from stillroot.inputs.uncertain import Uncertain
from stillroot.inputs.vary import changed
from stillroot.mechanics.bodies import take_apart
from stillroot.mechanics.groundwork import bone_stiffness, implant_stiffness
from stillroot.mechanics.harmonics import admissible, angular_weight, face_loads
from stillroot.mechanics.loading import load
from stillroot.mechanics.outline import outline_of
from stillroot.mechanics.stored import half_section
from stillroot.studies.running import run
from stillroot.studies.shipped_spread import Sourced
from stillroot.studies.spreads import cases_of, unit_sample, values_of

pytestmark = pytest.mark.benchmark

CASE = Case.from_dict(
    {
        "title": "twelve threads",
        "implant": {"diameter_mm": 4.1, "length_mm": 10.0, "thread": {"pitch_mm": 0.8}},
        "bone": {"cortical_thickness_mm": 1.5, "trabecular_modulus_mpa": 400.0},
        "loads": [
            {"name": "oblique", "force_n": 100.0, "angle_deg": 30.0, "height_mm": 8.0},
            {"name": "lateral", "lateral_n": 20.0, "height_mm": 8.0},
        ],
    }
)


SOFTER = {"cortical_thickness_mm": 1.0, "trabecular_modulus_mpa": 200.0}
SOLIDS = solids_of(CASE)
SECTION = half_section(outline_of(CASE), CASE.numerics.element_mm)


def bonded_linear_solve():
    """Assemble, bond the wall, factorise and solve n = 0 and n = 1 on the mesh of the check."""
    pair = take_apart(SECTION, keep_gap=True)
    implant, bone, wall = pair.implant, pair.bone, pair.wall
    stiffness = implant_stiffness(SOLIDS, implant), bone_stiffness(SOLIDS, bone)
    unit = face_loads(implant.basis, CASE.implant.abutment_height_mm)
    n_i, n_b = implant.nodes_mm.shape[1], bone.nodes_mm.shape[1]
    place = np.arange(n_b) + n_i
    place[wall.bone_nodes] = wall.implant_nodes
    used, place = np.unique(np.concatenate([np.arange(n_i), place]), return_inverse=True)
    rows = (3 * place[n_i:, None] + np.arange(3)).ravel()
    weld = sp.csr_array((np.ones(3 * n_b), (np.arange(3 * n_b), rows)), shape=(3 * n_b, 3 * len(used)))
    nodes = np.zeros((2, len(used)))
    nodes[:, place] = np.hstack([implant.nodes_mm, bone.nodes_mm])
    fixed = np.zeros(len(used), dtype=bool)
    fixed[place[n_i:]] = SOLIDS.held(bone.nodes_mm)
    for n, f in ((0, unit.axial), (1, unit.lateral)):
        k_i = stiffness[0].of(n).tocoo()
        k = sp.coo_array((k_i.data, (k_i.row, k_i.col)), shape=(3 * len(used),) * 2).tocsr()
        k = angular_weight(n) * (k + weld.T @ stiffness[1].of(n) @ weld)
        t, _ = admissible(nodes, n, np.arange(len(used)), fixed)
        whole = np.zeros(3 * len(used))
        whole[: len(f)] = angular_weight(n) * f
        factors = spla.splu(
            (t.T @ k @ t).tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        factors.solve(t.T @ whole)


def seconds(action, repeats=3):
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        best = min(best, time.perf_counter() - start)
    return best


def test_whole_check_against_one_bonded_solve():
    whole = seconds(lambda: check(CASE))
    linear = seconds(bonded_linear_solve)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"\nwhole check {whole:.2f} s, bonded linear solve {linear:.2f} s: "
        f"ratio {whole / linear:.1f}; peak memory {memory:.0f} MB"
    )
    assert whole / linear <= 10
    assert memory < 500


def test_a_further_load_on_the_same_seat():
    whole = seconds(lambda: check(CASE))
    seated = Chain().placed(CASE).seated
    resultant = resultant_of(CASE.loads[0])
    further = seconds(lambda: load(seated, [resultant]))
    print(f"\nfurther load {further:.2f} s of {whole:.2f} s: {further / whole:.3f}")
    assert further / whole <= 0.1


def test_a_study_of_200_loads_on_one_seat():
    one_load = CASE.model_copy(update={"loads": CASE.loads[:1]})
    whole = seconds(lambda: check(one_load))
    factors = np.linspace(0.5, 1.5, 200)
    cases = [changed(one_load, {"load_factor": float(factor)}) for factor in factors]
    study = seconds(lambda: run(cases, Where(workers=1)), repeats=1)
    print(f"\n200 loads {study:.1f} s, one check {whole:.2f} s: ratio {study / whole:.1f}")
    assert study / whole <= 20


def test_a_thousand_samples_of_modulus_friction_interference_and_load():
    """All four differ in every sample, so that no site is reused: the most expensive kind."""
    ranges = {
        "bone.trabecular_modulus_mpa": (100.0, 900.0),
        "interface.friction": (0.3, 0.7),
        "interface.interference_um": (2.0, 10.0),
        "load_factor": (0.7, 1.3),
    }
    inputs = [
        Sourced(input=Uncertain(key=key, kind="range", first=low, second=high), source="")
        for key, (low, high) in ranges.items()
    ]
    one_load = CASE.model_copy(update={"loads": CASE.loads[:1]})
    cases = cases_of(one_load, inputs, values_of(inputs, unit_sample(1024, 4, 1)[:1000]))
    whole = seconds(lambda: check(one_load), repeats=1)
    study = seconds(lambda: run(cases, Where(workers=2)), repeats=1)
    print(f"\n1000 samples {study:.0f} s on 2 workers, one check {whole:.2f} s: {study / whole:.0f}")
    assert study <= 600


def test_a_span_of_four_implants_and_six_loads():
    placed = {key: value for key, value in CASE.to_dict().items() if key != "loads"}
    heads = ((-16.0, -12.0), (-7.0, 0.0), (7.0, 0.0), (16.0, -12.0))
    forces = ((5.0, 0.0, -100.0), (0.0, 20.0, -60.0), (-10.0, 10.0, -120.0))
    plan = Plan.from_dict(
        {
            "title": "four implants",
            "cases": {"one": placed, "softer": {**placed, "bone": SOFTER}},
            "implants": [
                {"name": f"{k}", "case": "one" if k % 2 else "softer", "at_mm": [*at, 0.0]}
                for k, at in enumerate(heads)
            ],
            "loads": [
                {"name": f"{x:g} {f[0]:g}", "forces": [{"at_mm": [x, y, 8.0], "force_n": list(f)}]}
                for x, y in (heads[3], heads[1])
                for f in forces
            ],
        }
    )
    ready = Ready()
    single = seconds(lambda: [check(CASE) for _ in heads])
    for implant in plan.implants:
        ready.of(plan.case_of(implant), ALL)
    whole = seconds(lambda: check_span(plan, ready=ready))
    other = Plan.from_dict(
        {**plan.to_dict(), "bridge": {"material": "polymer"}, "loads": plan.to_dict()["loads"][:1]}
    )
    check_span(other, ready=ready, quick=True)
    quick = seconds(lambda: check_span(other, ready=ready, quick=True))
    print(f"\nsix loads {whole:.1f} s, four checks {single:.1f} s: {whole / single:.2f}")
    print(f"one load on another bridge, quick: {quick:.2f} s")
    assert whole / single <= 3
    assert quick <= 1
