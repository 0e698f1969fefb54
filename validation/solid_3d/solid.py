"""The solid's figures at two meshes: `python -m validation.solid_3d.solid [BODY …]` records them.

It writes solid.csv (every figure), costs.csv, profile.csv (motion along the wall) and, from the first,
published.csv. Each solution runs in a process of its own, so that its peak memory is its own. What is
recorded of bodies that are not named stays as it is.
"""

from __future__ import annotations

import csv
import resource
import sys
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
    from validation.solid_3d.plastic import PlasticBone

    Floats = NDArray[np.float64]
    Profile = list[tuple[float, float]]
    Costs = dict[tuple[str, str], dict[str, float]]
    Row = tuple[str, ...]

HERE = Path(__file__).parent
VALUES, COSTS, PROFILE, PUBLISHED = (
    HERE / f"{name}.csv" for name in ("solid", "costs", "profile", "published")
)

CASES = {
    "bonded": "smooth, bonded through the torn layer",
    "frictional": "smooth, no tension, friction",
    "ring": "threaded, no tension, friction",
    "yielding-bonded": "smooth, bonded through the torn layer, bone yields",
    "yielding-frictional": "smooth, no tension, friction, bone yields",
}
"""First word of a figure's key, and what it is of. Those of one body have the same springs."""
BODIES = {
    "smooth": ("bonded", "frictional"),
    "threaded": ("ring",),
    "yielding": ("yielding-bonded", "yielding-frictional"),
}
SMOOTH: Mapping[str, Mapping[str, float]] = {
    "coarse": {"wall_mm": 0.8, "edge_mm": 0.4, "largest_mm": 3.0, "growth": 0.5},
    "fine": {"wall_mm": 0.55, "edge_mm": 0.14, "largest_mm": 3.0, "growth": 0.55},
}
SIZES: Mapping[tuple[str, str], Mapping[str, float]] = {
    ("smooth", "coarse"): SMOOTH["coarse"],
    ("smooth", "fine"): SMOOTH["fine"],
    ("threaded", "coarse"): {"wall_mm": 0.6, "edge_mm": 0.6, "largest_mm": 3.0, "growth": 0.6},
    ("threaded", "fine"): {"wall_mm": 0.4, "edge_mm": 0.25, "largest_mm": 3.0, "growth": 0.6},
    ("yielding", "coarse"): SMOOTH["coarse"],
    ("yielding", "fine"): {**SMOOTH["fine"], "tip_mm": 0.07},
}
"""Tetrahedra of each mesh, see `block.Sizes`; cubic displacement on all."""
MESHES = ("coarse", "fine")
COST_HEAD = ("solution", "unknowns", "CPU [s]", "times stillroot's CPU", "peak memory [MB]")
HARMONICS = "stillroot"
LOAD_STEPS = 2
DIRECTIONS: Mapping[str, Mapping[str, int]] = {
    "axial": {"head": 2},
    "lateral": {"head": 0},
    "oblique": {"sinking": 2, "leaning": 0},
}
"""Names of the cases' loads; the head's movements that are compared, and the direction of each."""
PROFILE_OF = "frictional_lateral"
NEAR_MM = 1e-6
RIM_NEAR_MM = 1e-4
RIM_HARMONICS = 6
"""Fitted to the motion at the points of the tip's edge, where bone that yields makes them scatter."""

QUANTITIES = {
    "head": "head movement along the load",
    "peak": "largest interface motion",
    "mean": "mean interface motion",
    "p95": "interface motion that 95 % of the wall does not exceed",
    "sinking": "head movement into the bone",
    "leaning": "head movement across",
    "rim": f"interface motion at the tip's edge, the largest of {RIM_HARMONICS} harmonics round it",
}
TOLERANCES = {
    "bonded": "1 %",
    "frictional": "2 %",
    "ring": "2 %",
    "yielding-bonded": "2 %",
    "yielding-frictional": "2 %",
}
DIFFERS = {
    "yielding-bonded_oblique_peak": "the largest of many points of the solid's mesh on the tip's "
    "edge, where they scatter; the rim compares the curve through them (README.md)"
}
RERUN = (
    "bonded_axial_peak",
    "bonded_lateral_head",
    "frictional_axial_peak",
    "frictional_lateral_peak",
    "yielding-bonded_oblique_leaning",
    "yielding-frictional_oblique_peak",
)
"""Figures of the coarse mesh of smooth implants that the suite solves again."""
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
    bone = _bone(solid)
    for kind in BODIES[body]:
        solve = _bonded if case_of(kind).interface.kind == "bonded" else _frictional
        for load, motion in solve(solid, kind, figures, bone):
            name = f"{kind}_{load}"
            figures |= {f"{name}_{k}": v for k, v in _figures_of(solid, case, load, motion).items()}
            if name == PROFILE_OF:
                profile = _profile(solid.wall_corners, motion)
    return figures, {"unknowns": solid.unknowns, **watch.cost()}, profile


def _bone(solid: Solid) -> PlasticBone | None:
    """Return the bone of a solid whose bone yields."""
    from validation.solid_3d.plastic import plastic_bone  # noqa: PLC0415

    return plastic_bone(solid) if solid.case.bone.law == "yields" else None


def _bonded(
    solid: Solid, kind: str, _: dict[str, float], bone: PlasticBone | None
) -> Iterator[tuple[str, Floats]]:
    from validation.solid_3d.friction import glued, loaded  # noqa: PLC0415

    for load, force in _forces(solid, kind):
        linear = bone is None
        yield (
            load,
            solid.bonded_solve(force)
            if linear
            else loaded(solid, glued(solid, bone), force, LOAD_STEPS).u,
        )


def _frictional(
    solid: Solid, kind: str, figures: dict[str, float], bone: PlasticBone | None
) -> Iterator[tuple[str, Floats]]:
    from validation.solid_3d.friction import loaded, seated  # noqa: PLC0415

    seat = seated(solid, bone)
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
        yield item.name, solid.face_load(TOP, 2, -axial) + solid.face_load(TOP, 0, lateral)


def _figures_of(solid: Solid, case: Case, load: str, motion: Floats) -> dict[str, float]:
    head = solid.on_axis(motion, case.implant.abutment_height_mm)
    inside, area = _size_um(solid.wall, motion), solid.wall.area_mm2
    order = np.argsort(inside)
    reached = np.cumsum(area[order]) / np.sum(area)
    moved = {key: abs(float(head[axis])) * 1000 for key, axis in DIRECTIONS[load].items()}
    rim = {"rim": _rim(solid, motion)} if case.bone.law == "yields" else {}
    return {
        **moved,
        **rim,
        "peak": float(np.max(_size_um(solid.wall_corners, motion))),
        "mean": float(np.average(inside, weights=area)),
        "p95": float(inside[order][np.searchsorted(reached, 0.95)]),
    }


def _size_um(points: WallPoints, motion: Floats) -> Floats:
    return np.linalg.norm((points.jump @ motion).reshape(-1, 3), axis=1) * 1000


def _rim(solid: Solid, motion: Floats) -> float:
    """Return the largest motion [µm] of harmonics round the tip's edge, fitted to its points."""
    implant, points = solid.case.implant, solid.wall_corners
    x, y, z = points.place_mm.T
    off = np.hypot(np.hypot(x, y) - implant.diameter_mm / 2, z + implant.length_mm)
    here, n = off < RIM_NEAR_MM, np.arange(RIM_HARMONICS + 1)
    angle, all_round = np.arctan2(y[here], x[here]), np.linspace(0, np.pi, 181)
    size = _size_um(points, motion)[here]
    fitted = np.linalg.lstsq(np.cos(angle[:, None] * n), size, rcond=None)[0]
    return float(np.max(np.cos(all_round[:, None] * n) @ fitted))


def _profile(points: WallPoints, motion: Floats) -> Profile:
    """Return (depth [mm], motion [µm]) along the side of the wall that the load points to."""
    x, y, z = points.place_mm.T
    here = (np.abs(y) < NEAR_MM) & (x > 0) & (np.abs(points.normal[:, 2]) < 0.5)
    pairs = np.stack([-z[here], _size_um(points, motion)[here]], axis=1)
    return [tuple(pair) for pair in np.unique(np.round(pairs, 6) + 0.0, axis=0)]


def main(bodies: tuple[str, ...]) -> None:
    """Solve, print, write."""
    from validation.solid_3d.compute import timed  # noqa: PLC0415

    values: dict[str, dict[str, float]] = {name: {} for name in (*MESHES, HARMONICS)}
    costs: Costs = {}
    profile: Profile = []
    for body in bodies:
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
    """Write all files; rows of other bodies, and the profile if none is new, stay."""
    known = recorded()
    for mesh, figures in values.items():
        known[mesh] |= figures
    head = ("key", *known, "stillroot against fine", "extrapolated", "stillroot against it")
    _write(VALUES, head, _table(known))
    _write(COSTS, COST_HEAD, _merged(COSTS, _cost_table(costs)))
    if profile:
        _write(PROFILE, ("depth_mm", "motion_um"), [tuple(map(str, pair)) for pair in profile])
    _write(PUBLISHED, tuple(Figure.__dataclass_fields__), _published(known))


def recorded() -> dict[str, dict[str, float]]:
    """Return what solid.csv says of each solution."""
    with VALUES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: {row["key"]: float(row[name]) for row in rows} for name in (*MESHES, HARMONICS)}


def _merged(path: Path, new: list[Row]) -> list[Row]:
    """Return the rows of a file, by their first cell, with new ones in place of old."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = {row[0]: tuple(row) for row in list(csv.reader(file))[1:]}
    return list((rows | {row[0]: row for row in new}).values())


def _apart() -> ProcessPoolExecutor:
    """Return a fresh process."""
    return ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn"))


def _table(values: Mapping[str, Mapping[str, float]]) -> list[Row]:
    coarse, fine, harmonics = values.values()
    rows = []
    for key, number in fine.items():
        (body,) = (name for name, kinds in BODIES.items() if key.split("_")[0] in kinds)
        far = extrapolated(body, coarse[key], number)
        rows.append(
            (
                key,
                *map(_text, (coarse[key], number, harmonics[key])),
                f"{harmonics[key] / number - 1:+.2%}",
                _text(far),
                f"{harmonics[key] / far - 1:+.2%}",
            )
        )
    return rows


def extrapolated(body: str, coarse: float, fine: float) -> float:
    """Return a figure without elements at the tip's edge, if its error is in proportion to them."""
    sizes = [SIZES[body, mesh] for mesh in MESHES]
    wide, narrow = (size.get("tip_mm", size["edge_mm"]) for size in sizes)
    return fine + (fine - coarse) * narrow / (wide - narrow)


def _cost_table(costs: Costs) -> list[Row]:
    rows = []
    for (body, solution), cost in costs.items():
        name = "stillroot" if solution == HARMONICS else f"solid, {solution} mesh"
        times = cost["seconds"] / costs[body, HARMONICS]["seconds"]
        numbers = cost["unknowns"], cost["seconds"], times, cost["memory"]
        rows.append((f"{body}: {name}", *(_text(float(f"{number:.2g}")) for number in numbers)))
    return rows


def _text(number: float) -> str:
    return f"{number:.6g}"


def _write(path: Path, head: tuple[str, ...], rows: list[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([head, *rows])


def _published(values: Mapping[str, Mapping[str, float]]) -> list[Row]:
    coarse, fine = values["coarse"], values["fine"]

    def row(key: str, text: str, value: float, tolerance: str, why: str, mesh: str) -> tuple[str, ...]:
        unit = "N·cm" if key.endswith("torque") else "µm"
        place, thin = f"solid.csv, {mesh} mesh", "yes" if mesh == "fine" else "no"
        known = DIFFERS.get(key, "")
        return (key, "solid model", text, unit, _text(value), tolerance, why, place, "R", thin, known)

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
    main(tuple(sys.argv[1:]) or tuple(BODIES))
