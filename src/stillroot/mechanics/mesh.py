"""The half-section as triangles: the only module that talks to gmsh.

`import gmsh` needs graphics libraries that a bare machine lacks. It is therefore imported on use; where
that fails, a mesh stored for the same geometry is used instead.
"""

from __future__ import annotations

import signal
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.errors import EnvironmentProblem, MeshError
from stillroot.mechanics.outline import CORTICAL, GAP, IMPLANT_BODY, shortest_edge

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.arrays import Floats, Ints
    from stillroot.mechanics.outline import Outline

GROWTH = 0.3
"""Growth of the element size per millimetre of distance from the interface."""
FINER_AT_ENDS = 0.1
"""Element size at the ends of a hold and at the tip's corner, relative to the rest of the wall."""
FLATTEST = 8.0
"""Largest element size in a bone layer, relative to its thickness."""
LONGEST, GROWTH_FROM_SHORT = 12.0, 1.0
"""Largest element size at an edge of the outline, relative to its length, and the growth from there
[mm/mm]."""
AXIS_MM = 1e-9
LEAST_QUALITY = 0.05
"""Smallest accepted signed inverse condition number of a triangle (1 is equilateral)."""
RECIPE = 6
"""Raised whenever the meshing below changes, so that meshes stored by an older recipe are not used."""

APT_LINE = (
    "apt-get install -y libglu1-mesa libgl1 libxrender1 libxcursor1 libxfixes3 "
    "libxft2 libfontconfig1 libxinerama1 libgomp1"
)


@dataclass(frozen=True, kw_only=True)
class HalfSection:
    """Triangles of the half-section: both bodies in one mesh.

    `points_mm` (2, p), rows r and z; `triangles` (3, e); `region` (e,) indices into `names`.
    """

    points_mm: Floats
    triangles: Ints
    region: Ints
    names: tuple[str, ...]


def mesh_key(outline: Outline, element_mm: float) -> str:
    """Return the name under which the mesh of an outline is stored."""
    return f"{outline.fingerprint()}-{round(element_mm * 1000)}um-r{RECIPE}"


def mesh_outline(outline: Outline, element_mm: float) -> HalfSection:
    """Mesh an outline with triangles of `element_mm` at the interface, larger away from it.

    Raises
    ------
    EnvironmentProblem
        gmsh cannot be imported.
    MeshError
        The outline cannot be meshed.
    """
    with _gmsh_session() as gmsh:
        try:
            tags, wall, held = _add_surfaces(gmsh, outline)
            _set_sizes(gmsh, wall, _ends(gmsh, held), _layers(outline, tags), element_mm)
            gmsh.model.mesh.generate(2)
            return _triangles(gmsh, outline, tags)
        except MeshError:
            raise
        except Exception as error:  # gmsh raises bare Exception with its own text
            msg = (
                f"the outline could not be meshed with elements of {element_mm} mm ({error}). Its "
                f"shortest edge is {shortest_edge(outline)}: make it longer or leave it out, or try "
                "another element_mm"
            )
            raise MeshError(msg) from error


@contextmanager
def _gmsh_session() -> Iterator[Any]:
    """Yield gmsh, silent and deterministic, and finalise it in any case."""
    try:
        import gmsh  # noqa: PLC0415
    except (ImportError, OSError) as error:
        msg = (
            f"gmsh could not be loaded ({error}). Install the graphics libraries that it links to:\n"
            f"    {APT_LINE}"
        )
        raise EnvironmentProblem(msg) from error
    if gmsh.isInitialized():
        msg = "gmsh is already in use in this process; finalize it first"
        raise EnvironmentProblem(msg)
    with _broken_pipes_as_they_were():
        gmsh.initialize(readConfigFiles=False, interruptible=False)
    try:
        for option, value in (
            ("General.Terminal", 0),
            ("General.NumThreads", 1),
            ("Mesh.Algorithm", 6),
            ("Mesh.RandomSeed", 1),
            ("Mesh.MeshSizeFromPoints", 0),
            ("Mesh.MeshSizeFromCurvature", 0),
            ("Mesh.MeshSizeExtendFromBoundary", 0),
        ):
            gmsh.option.setNumber(option, value)
        gmsh.model.add("half-section")
        yield gmsh
    finally:
        gmsh.finalize()


@contextmanager
def _broken_pipes_as_they_were() -> Iterator[None]:
    """Restore the handling of SIGPIPE: gmsh lets a broken pipe end the process in place of an error."""
    pipe = getattr(signal, "SIGPIPE", None)
    before = None if pipe is None else signal.getsignal(pipe)
    yield
    if pipe is not None and before is not None:
        with suppress(ValueError):  # outside the main thread none can be set
            signal.signal(pipe, before)


def _add_surfaces(gmsh: Any, outline: Outline) -> tuple[dict[int, int], list[int], list[int]]:
    """Add the regions and fragment them where they overlap.

    Return {surface tag: region}, the curves of the implant's wall, and those of them on native bone.
    """
    occ = gmsh.model.occ
    surfaces = [(2, _add_polygon(occ, region.corners_mm)) for region in outline.regions]
    _, pieces = occ.fragment(surfaces[:1], surfaces[1:])
    occ.synchronize()
    owner: dict[int, int] = {}
    for index, fragments in enumerate(pieces):
        for _, tag in fragments:
            owner.setdefault(tag, index)  # the earlier region wins an overlap
    names = {tag: outline.regions[index].name for tag, index in owner.items()}

    def edges(kept: Callable[[str], bool]) -> set[int]:
        surfaces = [(2, tag) for tag, name in names.items() if kept(name)]
        return {abs(curve) for _, curve in gmsh.model.getBoundary(surfaces, oriented=False)}

    implant = edges(lambda name: name in IMPLANT_BODY)
    wall = sorted(implant & edges(lambda name: name not in IMPLANT_BODY))
    held = sorted(implant & edges(lambda name: name not in (*IMPLANT_BODY, GAP)))
    if not held:
        msg = "the implant touches no bone"
        raise MeshError(msg)
    return owner, wall, held


def _ends(gmsh: Any, held: list[int]) -> list[int]:
    """Return the points off the axis where a hold begins or ends, and the lowest corner of the wall."""
    points = [
        point for curve in held for _, point in gmsh.model.getBoundary([(1, curve)], oriented=False)
    ]
    place = {point: gmsh.model.getValue(0, point, []) for point in dict.fromkeys(points)}
    off_axis = [point for point in place if place[point][0] > AXIS_MM]
    lowest = min(place[point][1] for point in off_axis)
    return [p for p in off_axis if points.count(p) == 1 or place[p][1] < lowest + AXIS_MM]


def _add_polygon(occ: Any, corners_mm: Floats) -> int:
    points = [occ.addPoint(r, z, 0.0) for r, z in corners_mm]
    lines = [occ.addLine(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]
    return int(occ.addPlaneSurface([occ.addCurveLoop(lines)]))


def _layers(outline: Outline, owner: dict[int, int]) -> list[tuple[int, float]]:
    """Return the surfaces of the cortical layer, each with the thickness of the layer."""
    return [
        (tag, float(np.ptp(outline.regions[index].corners_mm[:, 1])))
        for tag, index in owner.items()
        if outline.regions[index].name == CORTICAL
    ]


def _set_sizes(
    gmsh: Any, wall: list[int], ends: list[int], layers: list[tuple[int, float]], element_mm: float
) -> None:
    """Set the element size to `element_mm` on the wall, finer at `ends`, where the traction is singular.

    Away from the wall, elements of a thin layer are no flatter than `FLATTEST`; at an edge far shorter
    than `element_mm`, elements are smaller, since slivers would stand on it otherwise.
    """
    field = gmsh.model.mesh.field
    sizes = []
    for kind, entities, size, growth in (
        ("CurvesList", wall, element_mm, GROWTH),
        ("PointsList", ends, FINER_AT_ENDS * element_mm, GROWTH),
        *(
            ("PointsList", points, LONGEST * length, GROWTH_FROM_SHORT)
            for length, points in _short_edges(gmsh, element_mm / LONGEST).items()
        ),
    ):
        distance = field.add("Distance")
        field.setNumbers(distance, kind, entities)
        field.setNumber(distance, "Sampling", 20)
        grown = field.add("MathEval")
        field.setString(grown, "F", f"{size} + {growth} * F{distance}")
        sizes.append(grown)
    for surface, thickness in layers:
        widest = field.add("MathEval")
        field.setString(widest, "F", f"{max(FLATTEST * thickness, element_mm)}")
        inside = field.add("Restrict")
        field.setNumber(inside, "InField", widest)
        field.setNumbers(inside, "SurfacesList", [surface])
        sizes.append(inside)
    smallest = field.add("Min")
    field.setNumbers(smallest, "FieldsList", sizes)
    field.setAsBackgroundMesh(smallest)


def _short_edges(gmsh: Any, shorter_mm: float) -> dict[float, list[int]]:
    """Return the end points of edges shorter than a length, by edge length rounded up to 1 µm."""
    short: dict[float, list[int]] = {}
    for _, curve in gmsh.model.getEntities(1):
        length = gmsh.model.occ.getMass(1, curve)
        if length < shorter_mm:
            ends = [point for _, point in gmsh.model.getBoundary([(1, curve)], oriented=False)]
            short.setdefault(np.ceil(1000 * length) / 1000, []).extend(ends)
    return short


def _triangles(gmsh: Any, outline: Outline, owner: dict[int, int]) -> HalfSection:
    tags, coordinates, _ = gmsh.model.mesh.getNodes()
    row = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    row[tags] = np.arange(len(tags))
    blocks, regions = [], []
    for surface, region in owner.items():
        elements, corners = gmsh.model.mesh.getElementsByType(2, surface)
        quality = gmsh.model.mesh.getElementQualities(elements, "minSICN")
        if len(quality) and quality.min() < LEAST_QUALITY:
            flat = row[corners].reshape(-1, 3)[quality.argmin()]
            r, z = coordinates.reshape(-1, 3)[flat, :2].mean(axis=0)
            msg = (
                f"a sliver came out in the {outline.regions[region].name}, {r:.3g} mm from the axis and "
                f"{-z:.3g} mm below the crest: two corners of the outline, or two lines that meet there "
                "at a small angle, lie very near each other. Move them together or apart (holds_mm, "
                "cortical_thickness_mm, gap_width_mm, the thread and its flank_angle_deg), or try a "
                f"smaller element_mm. The shortest edge is {shortest_edge(outline)}"
            )
            raise MeshError(msg)
        blocks.append(row[corners].reshape(-1, 3).T)
        regions.append(np.full(len(elements), region, dtype=np.int64))
    names = tuple(dict.fromkeys(region.name for region in outline.regions))
    to_name = np.array([names.index(region.name) for region in outline.regions])
    used, triangles = np.unique(np.hstack(blocks), return_inverse=True)
    return HalfSection(
        points_mm=np.ascontiguousarray(coordinates.reshape(-1, 3)[used, :2].T),
        triangles=triangles.reshape(3, -1),
        region=to_name[np.concatenate(regions)],
        names=names,
    )
