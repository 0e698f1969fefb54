"""The solid's figures at two meshes: `python -m validation.solid_3d.solid` solves and records them.

It writes solid.csv (every figure), costs.csv, profile.csv (motion along the wall) and, from the first,
published.csv. Each solution runs in a process of its own, so that its peak memory is its own.
"""

from __future__ import annotations

import csv
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import EnvironmentProblem
from stillroot.inputs.case import Case, read_case
from validation.suite import Figure

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from validation.solid_3d.elastic import Solid, WallPoints

    Floats = NDArray[np.float64]
    Profile = list[tuple[float, float]]
    Costs = dict[tuple[str, str], dict[str, float]]

HERE = Path(__file__).parent
VALUES, COSTS, PROFILE, PUBLISHED = (
    HERE / f"{name}.csv" for name in ("solid", "costs", "profile", "published")
)

CASES = {
    "bonded": "smooth, bonded through the torn layer",
    "frictional": "smooth, no tension, friction",
    "ring": "threaded, no tension, friction",
}
"""First word of a figure's key, and what it is of. The first two have the same bodies and springs."""
BODIES = {"smooth": ("bonded", "frictional"), "threaded": ("ring",)}
SIZES: Mapping[tuple[str, str], Mapping[str, float]] = {
    ("smooth", "coarse"): {"wall_mm": 0.8, "edge_mm": 0.4, "largest_mm": 3.0, "growth": 0.5},
    ("smooth", "fine"): {"wall_mm": 0.55, "edge_mm": 0.14, "largest_mm": 3.0, "growth": 0.55},
    ("threaded", "coarse"): {"wall_mm": 0.6, "edge_mm": 0.6, "largest_mm": 3.0, "growth": 0.6},
    ("threaded", "fine"): {"wall_mm": 0.4, "edge_mm": 0.25, "largest_mm": 3.0, "growth": 0.6},
}
"""Tetrahedra of each mesh, see `block.Sizes`; cubic displacement on all."""
MESHES = ("coarse", "fine")
COST_HEAD = ("solution", "unknowns", "CPU [s]", "times stillroot's CPU", "peak memory [MB]")
HARMONICS = "stillroot"
LOAD_STEPS = 2
DIRECTIONS = {"axial": 2, "lateral": 0}
"""Names of the cases' loads, and the direction that each acts in."""
PROFILE_OF = "frictional_lateral"
NEAR_MM = 1e-6

QUANTITIES = {
    "head": "head movement along the load",
    "peak": "largest interface motion",
    "mean": "mean interface motion",
    "p95": "interface motion that 95 % of the wall does not exceed",
}
TOLERANCES = {"bonded": "1 %", "frictional": "2 %", "ring": "2 %"}
RERUN = ("bonded_axial_peak", "bonded_lateral_head", "frictional_axial_peak", "frictional_lateral_peak")
"""Figures of the coarse mesh of the smooth implant that the suite solves again."""
RERUN_TOLERANCE = "0.5 %"


def case_of(kind: str) -> Case:
    """Return the case that a key begins with."""
    return read_case(HERE / f"{kind}.toml")


class Stopwatch:
    """CPU seconds since it was made: other work on the machine does not count."""

    def __init__(self) -> None:
        self._start = time.process_time()

    def cost(self) -> dict[str, float]:
        """Return seconds so far, and the peak memory of this process."""
        used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024  # from KiB
        return {"seconds": time.process_time() - self._start, "memory": used}


def solved(body: str, mesh: str) -> tuple[dict[str, float], dict[str, float], Profile]:
    """Return the figures of the solid at a mesh, what they cost, and the profile of one load.

    Raises
    ------
    EnvironmentProblem
        NGSolve is not installed.
    """
    try:
        from validation.solid_3d.block import Sizes, meshed  # noqa: PLC0415
        from validation.solid_3d.elastic import Solid  # noqa: PLC0415
    except ImportError as error:
        msg = (
            f"the solid model needs NGSolve, which could not be loaded ({error}): "
            "pip install 'stillroot[validation]'"
        )
        raise EnvironmentProblem(msg) from error
    watch = Stopwatch()
    sizes = Sizes(**SIZES[body, mesh])
    case = case_of(BODIES[body][-1])
    for other in map(case_of, BODIES[body]):
        if (other.implant, other.bone) != (case.implant, case.bone):
            msg = "cases of one body differ in it"
            raise ValueError(msg)
    solid = Solid(case, meshed(case, sizes), sizes.order)
    figures: dict[str, float] = {}
    profile: Profile = []
    for kind in BODIES[body]:
        for load, motion in (_bonded if kind == "bonded" else _frictional)(solid, kind, figures):
            name = f"{kind}_{load}"
            figures |= {f"{name}_{k}": v for k, v in _figures_of(solid, case, load, motion).items()}
            if name == PROFILE_OF:
                profile = _profile(solid.wall_corners, motion)
    return figures, {"unknowns": solid.unknowns, **watch.cost()}, profile


def _bonded(solid: Solid, kind: str, _: dict[str, float]) -> Iterator[tuple[str, Floats]]:
    for load, force in _forces(solid, kind):
        yield load, solid.bonded_solve(force)


def _frictional(solid: Solid, kind: str, figures: dict[str, float]) -> Iterator[tuple[str, Floats]]:
    from validation.solid_3d.friction import loaded, seated  # noqa: PLC0415

    seat = seated(solid)
    figures[f"{kind}_seat_torque"] = seat.torque_ncm
    for load, force in _forces(solid, kind):
        yield load, loaded(solid, seat, force, LOAD_STEPS).u - seat.u


def _forces(solid: Solid, kind: str) -> Iterator[tuple[str, Floats]]:
    from validation.solid_3d.block import TOP  # noqa: PLC0415

    for item in case_of(kind).loads:
        if item.height_mm != solid.case.implant.abutment_height_mm:
            msg = "a load acts at the abutment's top here"
            raise ValueError(msg)
        axial, lateral, _ = item.components
        along = lateral if item.name == "lateral" else -axial
        yield item.name, solid.face_load(TOP, DIRECTIONS[item.name], along)


def _figures_of(solid: Solid, case: Case, load: str, motion: Floats) -> dict[str, float]:
    head = solid.on_axis(motion, case.implant.abutment_height_mm)[DIRECTIONS[load]]
    inside, area = _size_um(solid.wall, motion), solid.wall.area_mm2
    order = np.argsort(inside)
    reached = np.cumsum(area[order]) / np.sum(area)
    return {
        "head": abs(float(head)) * 1000,
        "peak": float(np.max(_size_um(solid.wall_corners, motion))),
        "mean": float(np.average(inside, weights=area)),
        "p95": float(inside[order][np.searchsorted(reached, 0.95)]),
    }


def _size_um(points: WallPoints, motion: Floats) -> Floats:
    return np.linalg.norm((points.jump @ motion).reshape(-1, 3), axis=1) * 1000


def _profile(points: WallPoints, motion: Floats) -> Profile:
    """Return (depth [mm], motion [µm]) along the side of the wall that the load points to."""
    x, y, z = points.place_mm.T
    here = (np.abs(y) < NEAR_MM) & (x > 0) & (np.abs(points.normal[:, 2]) < 0.5)
    pairs = np.stack([-z[here], _size_um(points, motion)[here]], axis=1)
    return [tuple(pair) for pair in np.unique(np.round(pairs, 6) + 0.0, axis=0)]


def main() -> None:
    """Solve, print, write."""
    from validation.solid_3d.compute import timed  # noqa: PLC0415

    values: dict[str, dict[str, float]] = {name: {} for name in (*MESHES, HARMONICS)}
    costs: Costs = {}
    profile: Profile = []
    for body in BODIES:
        for mesh in MESHES:
            with _apart() as process:
                figures, costs[body, mesh], found = process.submit(solved, body, mesh).result()
            values[mesh] |= figures
            profile = found or profile
            print(f"{body}, {mesh}: {costs[body, mesh]['seconds']:.0f} s of CPU", flush=True)
        with _apart() as process:
            figures, costs[body, HARMONICS] = process.submit(timed, body).result()
        values[HARMONICS] |= figures
    record(values, costs, profile)
    for row in _table(values):
        print("".join(f"{cell:28}" for cell in row))


def record(values: Mapping[str, Mapping[str, float]], costs: Costs, profile: Profile) -> None:
    """Write all files."""
    _write(VALUES, ("key", *values, "stillroot against fine"), _table(values))
    _write(COSTS, COST_HEAD, _cost_table(costs))
    _write(PROFILE, ("depth_mm", "motion_um"), profile)
    _write(PUBLISHED, tuple(Figure.__dataclass_fields__), _published(values))


def _apart() -> ProcessPoolExecutor:
    """Return a fresh process."""
    return ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn"))


def _table(values: Mapping[str, Mapping[str, float]]) -> list[tuple[str, ...]]:
    coarse, fine, harmonics = values.values()
    return [
        (
            key,
            *map(_text, (coarse[key], fine[key], harmonics[key])),
            f"{harmonics[key] / fine[key] - 1:+.2%}",
        )
        for key, number in fine.items()
    ]


def _cost_table(costs: Costs) -> list[tuple[str, ...]]:
    rows = []
    for (body, solution), cost in costs.items():
        name = "stillroot" if solution == HARMONICS else f"solid, {solution} mesh"
        times = cost["seconds"] / costs[body, HARMONICS]["seconds"]
        numbers = cost["unknowns"], cost["seconds"], times, cost["memory"]
        rows.append((f"{body}: {name}", *(_text(float(f"{number:.2g}")) for number in numbers)))
    return rows


def _text(number: float) -> str:
    return f"{number:.6g}"


def _write(path: Path, head: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([head, *rows])


def _published(values: Mapping[str, Mapping[str, float]]) -> list[tuple[str, ...]]:
    coarse, fine = values["coarse"], values["fine"]

    def row(key: str, text: str, value: float, tolerance: str, why: str, mesh: str) -> tuple[str, ...]:
        unit = "N·cm" if key.endswith("torque") else "µm"
        place, thin = f"solid.csv, {mesh} mesh", "yes" if mesh == "fine" else "no"
        return (key, "solid model", text, unit, _text(value), tolerance, why, place, "R", thin, "")

    rows = []
    for key, value in fine.items():
        kind, *rest = key.split("_")
        change = f"{abs(coarse[key] / value - 1):.2%}".replace("%", " %")
        why = f"the solid's own two meshes differ by {change}; the rest is for stillroot's default mesh"
        text = f"{CASES[kind]}; {_words(*rest)}"
        rows.append(row(key, text, value, TOLERANCES[kind], why, "fine"))
    why = "another version of the mesher may mesh differently"
    for key in RERUN:
        kind, *rest = key.split("_")
        text = f"the solid solved again; {CASES[kind]}; {_words(*rest)}"
        rows.append(row(f"rerun_{key}", text, coarse[key], RERUN_TOLERANCE, why, "coarse"))
    return rows


def _words(load: str, quantity: str) -> str:
    return "insertion torque" if quantity == "torque" else f"{load} load: {QUANTITIES[quantity]}"


if __name__ == "__main__":
    main()
