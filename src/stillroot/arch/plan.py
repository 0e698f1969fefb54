"""The plan of a full arch: implants, the bridge that splints them, loads on it; validated on input.

A plan is read from a TOML file (`read_plan`) or made from dictionaries (`Plan.from_dict`). Its axes: x
and y horizontal, z out of the bone positive; the position of an implant is where its axis meets the
crest. Its cases are those of `stillroot.inputs.case`; their loads are not used.
"""

from __future__ import annotations

import math
import os
from itertools import combinations, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

import numpy as np
from pydantic import Field, ValidationInfo, field_validator

from stillroot.arch.bites import BITES_IN_WORDS, Bite, PointLoad, bite_loads
from stillroot.arch.bridge import CrossSection
from stillroot.arch.polyline import Polyline
from stillroot.errors import CaseError
from stillroot.inputs.case import Case, read_case
from stillroot.inputs.case_messages import written
from stillroot.inputs.materials import (
    BRIDGE_MATERIALS,
    Material,
    material_of,
    material_problems,
    titanium_unless_stated,
)
from stillroot.inputs.quantities import (
    LARGEST_LOAD,
    LARGEST_MODULUS_MPA,
    LEAST_LOAD,
    MOST_LOADS,
    Poisson,
)
from stillroot.inputs.section import (
    ASSUMPTION,
    Listed,
    Problems,
    Section,
    Unused,
    key,
    listed,
    refuse,
    sections_of,
    tables,
)
from stillroot.inputs.toml_file import InputFile, read_toml, refuse_name, take_named_file
from stillroot.mechanics.head import Joint

if TYPE_CHECKING:
    from stillroot.arrays import Floats

LEAST_IMPLANTS, MOST_IMPLANTS, MOST_CORNERS, MOST_FORCES = 2, 16, 64, 32
FARTHEST_MM = 200.0
LONGEST_CANTILEVER_MM = 60.0
STEEPEST_DEG = 60.0
LEAST_SECTION_MM, LARGEST_SECTION_MM = 0.5, 30.0
LEAST_BRIDGE_MPA = 1.0
REACH_MM, REACH_UP_MM = 8.0, 30.0
"""A force farther from the bridge's line, in plan view or in height, is taken to act on nothing that
the bridge carries. Half the width of a molar and some more: assumption."""
LEAST_PIECE_MM = 0.1
STATIONS = 41
"""Points along each axis at which the distance of two implants is evaluated."""
UNUSED_LOADS = [{"name": "not used: the loads come from the plan", "axial_n": 1.0}]
TOO_FEW = f"must have at least {LEAST_IMPLANTS} implants: a bridge splints two or more"
CANTILEVERS = ("end_cantilever_mm", "start_cantilever_mm")

Vector = listed("must be three numbers, [x, y, z]", length=3)
Points = listed("must be a list of points, such as [[-20, 0, 6], [0, 15, 6], [20, 0, 6]]")
Coordinate = Annotated[float, Field(ge=-FARTHEST_MM, le=FARTHEST_MM)]
Force = Annotated[float, Field(ge=-LARGEST_LOAD, le=LARGEST_LOAD)]
Place = Annotated[tuple[Coordinate, Coordinate, Coordinate], Vector]
Size = Annotated[float, Field(ge=LEAST_SECTION_MM, le=LARGEST_SECTION_MM)]
Cantilever = Annotated[float, Field(ge=0, le=LONGEST_CANTILEVER_MM)]
Name = Annotated[str, Field(min_length=1, max_length=60)]


class PlacedImplant(Section):
    """One implant: its case and its position."""

    name: Name = key()
    """Name of the implant, used in the answer."""
    case: Name = key()
    """Which case it is: the name of a table [cases.NAME]. In a file, case_file may stand in its place:
    the name of a case file, found from the folder of the plan."""
    at_mm: Place = key()
    """[x, y, z] of where its axis meets the crest."""
    tilt_deg: float = key(0.0, "assumption: upright", typical="0 to 45", ge=0, le=STEEPEST_DEG)
    """Angle of its axis from the z axis."""
    azimuth_deg: float = key(0.0, ASSUMPTION, ge=-360, le=360)
    """Direction, from x towards y, in which the head of a tilted implant leans."""

    @property
    def frame(self) -> Floats:
        """The implant's axes as columns (3, 3): the plan's, tilted about a horizontal line."""
        t, a = math.radians(self.tilt_deg), math.radians(self.azimuth_deg)
        lean = np.array([[math.cos(t), 0, math.sin(t)], [0, 1, 0], [-math.sin(t), 0, math.cos(t)]])
        turn = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
        return np.asarray(turn @ lean @ turn.T)

    @property
    def crest_mm(self) -> Floats:
        """Where its axis meets the crest (3,)."""
        return np.array(self.at_mm)

    def on_axis(self, height_mm: float) -> Floats:
        """Return the point (3,) on its axis at a height above the crest."""
        return self.crest_mm + height_mm * self.frame[:, 2]


class BridgePlan(Section):
    """The bridge that splints the implants: a beam framework, or a rigid body."""

    kind: Literal["beam", "rigid"] = key("beam")
    """beam: a framework of the stated section and material; rigid: it does not bend."""
    modulus_mpa: float | None = key(None, ge=LEAST_BRIDGE_MPA, le=1e4 * LARGEST_MODULUS_MPA)
    """Young's modulus, with poisson, in place of material."""
    poisson: Poisson | None = key(None)
    """Poisson's ratio, with modulus_mpa, in place of material."""
    material: Literal["titanium", "cobalt_chromium", "zirconia", "polymer"] | None = key(
        titanium_unless_stated,
        ASSUMPTION,
        shown='"titanium", where modulus_mpa and poisson are not given',
    )
    """Titanium and zirconia as for implants. Cobalt-chromium: 220000 MPa, 0.30 (from memory). Polymer of
    a provisional: 2700 MPa, 0.35 (from memory)."""
    width_mm: Size = key(4.0, ASSUMPTION, typical="3 to 6 mm")
    """Width of the section, level across the line."""
    height_mm: Size = key(5.0, ASSUMPTION, typical="3 to 6 mm")
    """Height of the section."""
    start_cantilever_mm: Cantilever = key(0.0, ASSUMPTION)
    """Length of the bridge beyond the first implant, level and straight on. Not with path_mm."""
    end_cantilever_mm: Cantilever = key(0.0, ASSUMPTION)
    """The same beyond the last implant. Not with path_mm."""
    path_mm: Annotated[tuple[Place, ...], Field(max_length=MOST_CORNERS), Points] | None = key(
        None,
        shown="from abutment's top to abutment's top in the order of the implants, and on along the "
        "cantilevers",
    )
    """Line of the bridge as [x, y, z] points; it must pass within half its width of each abutment's
    top."""
    crown_mm: float = key(6.0, ASSUMPTION, ge=0, le=REACH_UP_MM)
    """Height of the chewing surface above the line, where bite patterns act."""
    joint_shift_um_per_n: float = key(0.0, ASSUMPTION, ge=0, le=1000)
    """What a screw joint yields to a force, in any direction; 0 is rigid."""
    joint_tilt_deg_per_ncm: float = key(0.0, ASSUMPTION, ge=0, le=10)
    """What a screw joint yields to a moment, about any axis; 0 is rigid."""

    @property
    def elastic(self) -> Material:
        """The elastic constants of the framework."""
        return material_of(self, BRIDGE_MATERIALS)

    @property
    def section(self) -> CrossSection:
        """The cross-section of the framework."""
        return CrossSection(width_mm=self.width_mm, height_mm=self.height_mm)

    @property
    def joint(self) -> Joint:
        """The screw joint."""
        return Joint(
            shift_mm_per_n=self.joint_shift_um_per_n / 1000,
            tilt_per_nmm=math.radians(self.joint_tilt_deg_per_ncm) / 10,
        )

    def _unused(self) -> Unused:
        """Return the cantilevers where the line is given."""
        text = "is not used with path_mm, which runs to the tips itself; leave it out"
        return dict.fromkeys(CANTILEVERS if self.path_mm is not None else (), text)

    def _problems(self) -> Problems:
        yield from material_problems(self)
        if self.path_mm is not None and len(self.path_mm) < 2:
            yield "path_mm", "must have at least 2 points"
        if any(math.dist(a, b) < LEAST_PIECE_MM for a, b in pairwise(self.path_mm or ())):
            text = f"has points less than {LEAST_PIECE_MM:g} mm apart, one after the other"
            yield "path_mm", text


class PointForce(Section):
    """A force at a point of the bridge."""

    at_mm: Place = key(
        description=f"[x, y, z] of where it acts: within {REACH_MM:g} mm of the bridge's line as seen "
        "from above, from which a rigid arm reaches there."
    )
    force_n: Annotated[tuple[Force, Force, Force], Vector] = key()
    """[F_x, F_y, F_z]; a bite presses towards negative z."""

    @property
    def point_load(self) -> PointLoad:
        """The force and its point as arrays."""
        return PointLoad(at_mm=np.array(self.at_mm), force_n=np.array(self.force_n))


class BridgeLoad(Section):
    """One load on the bridge: a bite pattern, or forces at points."""

    name: Name = key()
    """Name of the load, used in the answer."""
    bite: Bite | None = key(
        None,
        description="A bite pattern. "
        + "; ".join(f"{name}: {words}" for name, words in BITES_IN_WORDS.items())
        + ". Sizes are assumptions inside the ranges of Mericske-Stern et al. 1992, as tabulated in doi "
        "10.1186/s40729-022-00454-y.",
    )
    scale: float = key(1.0, ASSUMPTION, ge=0.001, le=100)
    """Factor on the sizes of the pattern."""
    forces: Annotated[tuple[PointForce, ...], Listed, Field(max_length=MOST_FORCES)] | None = key(None)
    """In place of bite: a list of forces, each with at_mm and force_n."""

    def _unused(self) -> Unused:
        """Return the scale where there is no pattern."""
        return {} if self.forces is None else {"scale": "is only for a bite pattern; leave it out"}

    def _problems(self) -> Problems:
        if self.bite is None and not self.forces:
            yield "", "is no load: give bite, or forces with at_mm and force_n"
        if self.bite is not None and self.forces is not None:
            yield "bite", "is not used with forces; give one of the two"
        parts = [abs(part) for force in self.forces or () for part in force.force_n]
        if parts and max(parts) < LEAST_LOAD:
            yield "forces", f"is no load: a force must be at least {LEAST_LOAD:g} N"


class Plan(InputFile):
    """Implants splinted under one bridge, and the loads on it."""

    title: str = key(min_length=1)
    """Title of the plan."""
    cases: dict[str, Case] = key(dict, shown="none")
    """Tables [cases.NAME], each laid out as a case file (docs/case_file.md); its loads may be left out
    and are not used."""
    implants: Annotated[
        tuple[PlacedImplant, ...],
        Field(max_length=MOST_IMPLANTS),
        tables("implant", LEAST_IMPLANTS, TOO_FEW),
    ] = key()
    """One [[implants]] table each."""
    bridge: BridgePlan = key(BridgePlan())
    """The bridge."""
    loads: Annotated[tuple[BridgeLoad, ...], Field(max_length=MOST_LOADS), tables("load")] = key()
    """One [[loads]] table a load."""

    def to_dict(self) -> dict[str, Any]:
        """Return dictionaries with every default, the cases last; `from_dict` makes an equal plan."""
        data = super().to_dict()
        del data["cases"]
        return {**data, "cases": {name: case.to_dict() for name, case in self.cases.items()}}

    def case_of(self, implant: PlacedImplant) -> Case:
        """Return the case of an implant."""
        return self.cases[implant.case]

    def head_mm(self, implant: PlacedImplant) -> Floats:
        """Return the centre (3,) of an implant's abutment top."""
        return implant.on_axis(self.case_of(implant).implant.abutment_height_mm)

    @property
    def line(self) -> Polyline:
        """The line of the bridge."""
        if self.bridge.path_mm is not None:
            return Polyline(corners_mm=np.array(self.bridge.path_mm))
        heads = np.stack([self.head_mm(implant) for implant in self.implants])
        corners = [heads]
        if self.bridge.start_cantilever_mm:
            tip = _beyond(heads[1], heads[0], self.bridge.start_cantilever_mm)
            corners.insert(0, tip[None])
        if self.bridge.end_cantilever_mm:
            corners.append(_beyond(heads[-2], heads[-1], self.bridge.end_cantilever_mm)[None])
        return Polyline(corners_mm=np.concatenate(corners))

    def point_loads(self, load: BridgeLoad) -> tuple[PointLoad, ...]:
        """Return the forces of a load."""
        if load.bite is None:
            return tuple(force.point_load for force in load.forces or ())
        first, last = min(self.places), max(self.places)
        forces = bite_loads(load.bite, self.line, first, last, self.bridge.crown_mm)
        return tuple(PointLoad(at_mm=f.at_mm, force_n=load.scale * f.force_n) for f in forces)

    def name_of(self, given: str) -> str:
        """Return the name of an implant given by its name or its number, counted from 1.

        Raises
        ------
        CaseError
            There is no such implant.
        """
        names = [implant.name for implant in self.implants]
        numbers = {str(number): name for number, name in enumerate(names, start=1)}
        if given in names:
            return given
        if given in numbers:
            return numbers[given]
        msg = (
            f"--without {given}: there is no such implant; must be one of {', '.join(names)} (or 1 to "
            f"{len(names)})"
        )
        raise CaseError(msg, key="--without")

    def without(self, name: str) -> Self:
        """Return the plan without one implant, given by name or number from 1; bridge and loads stay.

        Raises
        ------
        CaseError
            There is no such implant, or fewer than two would be left.
        """
        name = self.name_of(name)
        if len(self.implants) - 1 < LEAST_IMPLANTS:
            msg = f"--without {name}: leaves one implant, and a bridge splints at least {LEAST_IMPLANTS}"
            raise CaseError(msg, key="--without")
        data = self.to_dict()
        data["implants"] = [i for i in data["implants"] if i["name"] != name]
        for load, kept in zip(data["loads"], self.loads, strict=True):
            if kept.bite is not None:
                del load["bite"], load["scale"]
                load["forces"] = [
                    {"at_mm": f.at_mm.tolist(), "force_n": f.force_n.tolist()}
                    for f in self.point_loads(kept)
                ]
        for end in CANTILEVERS:
            data["bridge"].pop(end, None)
        data["bridge"]["path_mm"] = self.line.corners_mm.tolist()
        return type(self).from_dict(data)

    @property
    def places(self) -> list[float]:
        """The places of the implants along the line."""
        return [self.line.nearest(self.head_mm(implant))[0] for implant in self.implants]

    @field_validator("cases", mode="before")
    @classmethod
    def _cases_need_no_loads(cls, value: object) -> object:
        if not isinstance(value, dict):
            refuse("must be tables: write [cases.NAME] and the keys of a case file below it")
        return {
            name: {"loads": UNUSED_LOADS, **case} if isinstance(case, dict) else case
            for name, case in value.items()
        }

    @field_validator("implants")
    @classmethod
    def _cases_are_there(
        cls, implants: tuple[PlacedImplant, ...], info: ValidationInfo
    ) -> tuple[PlacedImplant, ...]:
        cases = info.data.get("cases")  # none where they are invalid themselves, and reported
        for implant in implants:
            if cases is not None and implant.case not in cases:
                known = ", ".join(f'"{name}"' for name in cases) or "none"
                refuse(
                    f'name the case "{implant.case}" for "{implant.name}", but there is no such case; '
                    f"cases in this plan: {known}"
                )
        return implants

    def _problems(self) -> Problems:
        yield from self._collisions()
        yield from self._implants_missed()
        yield from self._loads_in_the_air()

    def _collisions(self) -> Problems:
        share = np.linspace(0.0, 1.0, STATIONS)[:, None]

        def axis(implant: PlacedImplant) -> Floats:
            case = self.case_of(implant).implant
            foot, head = implant.on_axis(-case.length_mm), implant.on_axis(case.abutment_height_mm)
            return np.asarray(foot + share * (head - foot))

        for one, other in combinations(self.implants, 2):
            apart = np.linalg.norm(axis(one)[:, None] - axis(other)[None], axis=2).min()
            least = sum(self.case_of(implant).implant.diameter_mm for implant in (one, other)) / 2
            if apart < least:
                text = (
                    f'place "{one.name}" and "{other.name}" one inside the other: their axes come '
                    f"within {apart:.3g} mm and must stay {least:.3g} mm apart"
                )
                yield "implants", text

    def _implants_missed(self) -> Problems:
        reach = self.bridge.width_mm / 2
        for implant in self.implants:
            head = self.head_mm(implant)
            _, off = self.line.nearest(head)
            if off > reach + 1e-9:
                at = ", ".join(f"{x:.4g}" for x in head)
                text = (
                    f'misses "{implant.name}" by {off:.3g} mm: its abutment\'s top is at [{at}], and '
                    f"the line must pass within half its width, {reach:g} mm"
                )
                yield "bridge.path_mm", text

    def _loads_in_the_air(self) -> Problems:
        longest = max(min(self.places), self.line.length_mm - max(self.places))
        for load in self.loads:
            if load.bite == "cantilever_tip" and longest <= LEAST_PIECE_MM:
                text = (
                    f'"{load.name}" bites on the tip of a cantilever, and the bridge has none; give '
                    "bridge.end_cantilever_mm, or another bite"
                )
                yield "loads", text
            for force in load.forces or ():
                point = np.array(force.at_mm)
                place, off = self.line.nearest(point, dimensions=2)
                up = abs(float(point[2] - self.line.points(np.array([place]))[0, 2]))
                if off > REACH_MM or up > REACH_UP_MM:
                    text = (
                        f'"{load.name}" is off the bridge: at_mm = {written(force.at_mm)} lies '
                        f"{off:.3g} mm beside its line and {up:.3g} mm from it in height; at most "
                        f"{REACH_MM:g} and {REACH_UP_MM:g} mm are carried"
                    )
                    yield "loads", text


PLAN_SECTIONS = sections_of(Plan)
"""The sections of the plan file by name, without those of its cases."""


def read_plan(path: str | os.PathLike[str]) -> Plan:
    """Read and check a plan file, and the case files that it names.

    Raises
    ------
    CaseError
        A file cannot be read, is no valid TOML, or has a wrong key or value; one line per problem.
    """
    file = os.fspath(path)
    data = read_toml(path, "plan")
    return Plan.from_dict(_with_case_files(data, Path(path).parent, file), file)


def _with_case_files(data: dict[str, Any], folder: Path, file: str) -> dict[str, Any]:
    """Return the raw plan with the cases in place of the names of their files."""
    implants, cases = data.get("implants"), data.get("cases", {})
    if not isinstance(implants, list) or not isinstance(cases, dict):
        return data
    read: dict[str, Case] = {}
    for k, implant in enumerate(implants, start=1):
        if not isinstance(implant, dict) or "case_file" not in implant:
            continue
        name = take_named_file(implant, "case_file", "case", f"implants[{k}]", file)
        text = "is the name of a table in [cases] too; rename one of the two" if name in cases else ""
        refuse_name(f"implants[{k}].case_file", name, text, file)
        if name not in read:
            read[name] = read_case(folder / name)
        implant["case"] = name
    return {**data, "cases": {**cases, **read}}


def _beyond(before: Floats, last: Floats, length: float) -> Floats:
    """Return the point beyond `last` at the same height, straight on in plan view."""
    level = (last - before) * [1.0, 1.0, 0.0]
    size = float(np.linalg.norm(level))
    if size < LEAST_PIECE_MM:
        refuse(
            "stand one above the other at the end of the bridge: give the line as bridge.path_mm",
            "implants",
        )
    return np.asarray(last + length * level / size)
