"""The plan of a full arch: implants, the bridge that splints them, loads on it; validated on input.

A plan is read from a TOML file (`read_plan`) or made from dictionaries (`Plan.from_dict`). Its axes: x
and y horizontal, z out of the bone positive; the position of an implant is where its axis meets the
crest. Its cases are those of `stillroot.inputs.case`; their loads are not used.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Mapping
from itertools import combinations, pairwise
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

import numpy as np
from pydantic import (
    BeforeValidator,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from stillroot.arch.bites import BITES_IN_WORDS, Bite, PointLoad, bite_loads
from stillroot.arch.bridge import CrossSection
from stillroot.arch.polyline import Polyline
from stillroot.errors import CaseError
from stillroot.inputs.case import (
    LARGEST_LOAD,
    LARGEST_MODULUS_MPA,
    LEAST_LOAD,
    MOST_LOADS,
    SECTIONS,
    Case,
    Poisson,
    read_case,
    read_toml,
)
from stillroot.inputs.case_messages import Problem, case_error, problems_of, written
from stillroot.inputs.materials import BRIDGE_MATERIALS, Material
from stillroot.inputs.section import (
    ASSUMPTION,
    Section,
    about,
    as_tuple,
    refuse,
    refuse_two_materials,
    without_negative_zero,
)
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


def _as_vector(value: object) -> object:
    """Turn [x, y, z] into a tuple; the numbers themselves are validated afterwards."""
    if not isinstance(value, list | tuple) or len(value) != 3:
        refuse("must be three numbers, [x, y, z]")
    return tuple(value)


def _as_vectors(value: object) -> object:
    if not isinstance(value, list | tuple):
        refuse("must be a list of points, such as [[-20, 0, 6], [0, 15, 6], [20, 0, 6]]")
    return tuple(value)


Coordinate = Annotated[float, Field(ge=-FARTHEST_MM, le=FARTHEST_MM)]
Force = Annotated[float, Field(ge=-LARGEST_LOAD, le=LARGEST_LOAD)]
Place = Annotated[tuple[Coordinate, Coordinate, Coordinate], BeforeValidator(_as_vector)]
ForceVector = Annotated[tuple[Force, Force, Force], BeforeValidator(_as_vector)]
Size = Annotated[float, Field(ge=LEAST_SECTION_MM, le=LARGEST_SECTION_MM)]
Cantilever = Annotated[float, Field(ge=0, le=LONGEST_CANTILEVER_MM)]
Name = Annotated[str, Field(min_length=1, max_length=60)]


class PlacedImplant(Section):
    """One implant: its case and its position."""

    name: Annotated[Name, about("Name of the implant, used in the answer.")]
    case: Annotated[
        Name,
        about(
            "Which case it is: the name of a table [cases.NAME]. In a file, case_file may stand in its "
            "place: the name of a case file, found from the folder of the plan."
        ),
    ]
    at_mm: Annotated[Place, about("[x, y, z] of where its axis meets the crest.")]
    tilt_deg: Annotated[
        float,
        about("Angle of its axis from the z axis.", source="assumption: upright", typical="0 to 45"),
        Field(ge=0, le=STEEPEST_DEG),
    ] = 0.0
    azimuth_deg: Annotated[
        float,
        about(
            "Direction, from x towards y, in which the head of a tilted implant leans.",
            source=ASSUMPTION,
        ),
        Field(ge=-360, le=360),
    ] = 0.0

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

    kind: Annotated[
        Literal["beam", "rigid"],
        about("beam: a framework of the stated section and material; rigid: it does not bend."),
    ] = "beam"
    modulus_mpa: Annotated[
        Annotated[float, Field(ge=LEAST_BRIDGE_MPA, le=1e4 * LARGEST_MODULUS_MPA)] | None,
        about("Young's modulus, with poisson, in place of material.", default="none"),
    ] = None
    poisson: Annotated[
        Poisson | None,
        about("Poisson's ratio, with modulus_mpa, in place of material.", default="none"),
    ] = None
    material: Annotated[
        Literal["titanium", "cobalt_chromium", "zirconia", "polymer"] | None,
        about(
            "Titanium and zirconia as for implants. Cobalt-chromium: 220000 MPa, 0.30 (from memory). "
            "Polymer of a provisional: 2700 MPa, 0.35 (from memory).",
            source=ASSUMPTION,
            default='"titanium", where modulus_mpa and poisson are not given',
        ),
    ] = Field(
        default_factory=lambda data: (
            "titanium" if data["modulus_mpa"] is None and data["poisson"] is None else None
        )
    )
    width_mm: Annotated[
        Size,
        about("Width of the section, level across the line.", source=ASSUMPTION, typical="3 to 6 mm"),
    ] = 4.0
    height_mm: Annotated[
        Size, about("Height of the section.", source=ASSUMPTION, typical="3 to 6 mm")
    ] = 5.0
    start_cantilever_mm: Annotated[
        Cantilever,
        about(
            "Length of the bridge beyond the first implant, level and straight on. Not with path_mm.",
            source=ASSUMPTION,
        ),
    ] = 0.0
    end_cantilever_mm: Annotated[
        Cantilever,
        about("The same beyond the last implant. Not with path_mm.", source=ASSUMPTION),
    ] = 0.0
    path_mm: Annotated[
        Annotated[tuple[Place, ...], Field(max_length=MOST_CORNERS), BeforeValidator(_as_vectors)]
        | None,
        about(
            "Line of the bridge as [x, y, z] points; it must pass within half its width of each "
            "abutment's top.",
            default="from abutment's top to abutment's top in the order of the implants, and on along "
            "the cantilevers",
        ),
    ] = None
    crown_mm: Annotated[
        float,
        about(
            "Height of the chewing surface above the line, where bite patterns act.", source=ASSUMPTION
        ),
        Field(ge=0, le=REACH_UP_MM),
    ] = 6.0
    joint_shift_um_per_n: Annotated[
        float,
        about("What a screw joint yields to a force, in any direction; 0 is rigid.", source=ASSUMPTION),
        Field(ge=0, le=1000),
    ] = 0.0
    joint_tilt_deg_per_ncm: Annotated[
        float,
        about("What a screw joint yields to a moment, about any axis; 0 is rigid.", source=ASSUMPTION),
        Field(ge=0, le=10),
    ] = 0.0

    @property
    def elastic(self) -> Material:
        """The elastic constants of the framework."""
        if self.modulus_mpa is not None and self.poisson is not None:
            return Material(modulus_mpa=self.modulus_mpa, poisson=self.poisson)
        return BRIDGE_MATERIALS[self.material or "titanium"]

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

    @model_validator(mode="after")
    def _one_material(self) -> Self:
        refuse_two_materials(self, named="material" in self.model_fields_set)
        return self

    @model_validator(mode="after")
    def _path_or_cantilevers(self) -> Self:
        given = self.model_fields_set & {"start_cantilever_mm", "end_cantilever_mm"}
        if self.path_mm is None:
            return self
        if given:
            refuse("is not used with path_mm, which runs to the tips itself; leave it out", min(given))
        if len(self.path_mm) < 2:
            refuse("must have at least 2 points", "path_mm")
        if any(math.dist(a, b) < LEAST_PIECE_MM for a, b in pairwise(self.path_mm)):
            refuse(f"has points less than {LEAST_PIECE_MM:g} mm apart, one after the other", "path_mm")
        return self


class PointForce(Section):
    """A force at a point of the bridge."""

    at_mm: Annotated[
        Place,
        about(
            f"[x, y, z] of where it acts: within {REACH_MM:g} mm of the bridge's line as seen from "
            "above, from which a rigid arm reaches there."
        ),
    ]
    force_n: Annotated[ForceVector, about("[F_x, F_y, F_z]; a bite presses towards negative z.")]

    @property
    def point_load(self) -> PointLoad:
        """The force and its point as arrays."""
        return PointLoad(at_mm=np.array(self.at_mm), force_n=np.array(self.force_n))


class BridgeLoad(Section):
    """One load on the bridge: a bite pattern, or forces at points."""

    name: Annotated[Name, about("Name of the load, used in the answer.")]
    bite: Annotated[
        Bite | None,
        about(
            "A bite pattern. "
            + "; ".join(f"{name}: {words}" for name, words in BITES_IN_WORDS.items())
            + ". Sizes are assumptions inside the ranges of Mericske-Stern et al. 1992, as tabulated in "
            "doi 10.1186/s40729-022-00454-y.",
            default="none",
        ),
    ] = None
    scale: Annotated[
        float,
        about("Factor on the sizes of the pattern.", source=ASSUMPTION),
        Field(ge=0.001, le=100),
    ] = 1.0
    forces: Annotated[
        Annotated[tuple[PointForce, ...], Field(max_length=MOST_FORCES), BeforeValidator(as_tuple)]
        | None,
        about("In place of bite: a list of forces, each with at_mm and force_n.", default="none"),
    ] = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if self.bite is None and not self.forces:
            refuse("is no load: give bite, or forces with at_mm and force_n")
        if self.bite is not None and self.forces is not None:
            refuse("is not used with forces; give one of the two", "bite")
        if self.forces is not None:
            if "scale" in self.model_fields_set:
                refuse("is only for a bite pattern; leave it out", "scale")
            largest = max(abs(part) for force in self.forces for part in force.force_n)
            if largest < LEAST_LOAD:
                refuse(f"is no load: a force must be at least {LEAST_LOAD:g} N", "forces")
        return self


class Plan(Section):
    """Implants splinted under one bridge, and the loads on it."""

    title: Annotated[str, about("Title of the plan."), Field(min_length=1)]
    cases: Annotated[
        dict[str, Case],
        about(
            "Tables [cases.NAME], each laid out as a case file (docs/case_file.md); its loads may be "
            "left out and are not used.",
            default="none",
        ),
    ] = Field(default_factory=dict)
    implants: Annotated[
        tuple[PlacedImplant, ...],
        Field(max_length=MOST_IMPLANTS),
        about("One [[implants]] table each."),
    ]
    bridge: Annotated[BridgePlan, about("The bridge.")] = BridgePlan()
    loads: Annotated[
        tuple[BridgeLoad, ...], Field(max_length=MOST_LOADS), about("One [[loads]] table a load.")
    ]

    @classmethod
    def from_dict(cls, data: Mapping[str, object], file: str | None = None) -> Self:
        """Return the plan of nested dictionaries laid out as the plan file is.

        Raises
        ------
        CaseError
            A key or value is wrong; one line per problem.
        """
        try:
            return cls.model_validate(dict(data))
        except ValidationError as error:
            raise case_error(problems_of(error, data, plan_sections(data)), file) from None

    def to_dict(self) -> dict[str, Any]:
        """Return dictionaries with every default; `from_dict` makes an equal plan of them."""
        data: dict[str, Any] = self.model_dump(mode="json", exclude_none=True, exclude={"cases"})
        bridge = data["bridge"]
        if self.bridge.path_mm is not None:
            for key in ("start_cantilever_mm", "end_cantilever_mm"):
                del bridge[key]
        for load in data["loads"]:
            if "forces" in load:
                del load["scale"]
        data["cases"] = {name: case.to_dict() for name, case in self.cases.items()}
        plain: dict[str, Any] = without_negative_zero(data)
        return plain

    def fingerprint(self) -> str:
        """Return the SHA-256 (hex) of the plan with every default."""
        text = json.dumps(self.to_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

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
        places = [self.line.nearest(self.head_mm(implant))[0] for implant in self.implants]
        forces = bite_loads(load.bite, self.line, min(places), max(places), self.bridge.crown_mm)
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
        for key in ("start_cantilever_mm", "end_cantilever_mm"):
            data["bridge"].pop(key, None)
        data["bridge"]["path_mm"] = self.line.corners_mm.tolist()
        return type(self).from_dict(data)

    @field_validator("cases", mode="before")
    @classmethod
    def _cases_need_no_loads(cls, value: object) -> object:
        if not isinstance(value, dict):
            refuse("must be tables: write [cases.NAME] and the keys of a case file below it")
        return {
            name: {"loads": UNUSED_LOADS, **case} if isinstance(case, dict) else case
            for name, case in value.items()
        }

    @field_validator("implants", "loads", mode="before")
    @classmethod
    def _tables(cls, value: object, info: ValidationInfo) -> object:
        if not isinstance(value, list | tuple):
            refuse(f"must be a list of tables: write [[{info.field_name}]] above each")
        return tuple(value)

    @field_validator("implants")
    @classmethod
    def _two_at_least(cls, implants: tuple[PlacedImplant, ...]) -> tuple[PlacedImplant, ...]:
        if len(implants) < LEAST_IMPLANTS:
            refuse(f"must have at least {LEAST_IMPLANTS} implants: a bridge splints two or more")
        _refuse_same_name([i.name for i in implants], "implant")
        return implants

    @field_validator("implants")
    @classmethod
    def _cases_are_there(
        cls, implants: tuple[PlacedImplant, ...], info: ValidationInfo
    ) -> tuple[PlacedImplant, ...]:
        if "cases" not in info.data:  # invalid themselves, and reported
            return implants
        cases = info.data["cases"]
        for implant in implants:
            if implant.case not in cases:
                known = ", ".join(f'"{name}"' for name in cases) or "none"
                refuse(
                    f'name the case "{implant.case}" for "{implant.name}", but there is no such case; '
                    f"cases in this plan: {known}"
                )
        return implants

    @field_validator("loads")
    @classmethod
    def _one_load_at_least(cls, loads: tuple[BridgeLoad, ...]) -> tuple[BridgeLoad, ...]:
        if not loads:
            refuse("must have at least 1 load: write [[loads]] and its keys below")
        _refuse_same_name([load.name for load in loads], "load")
        return loads

    @model_validator(mode="after")
    def _implants_stand_apart(self) -> Self:
        share = np.linspace(0.0, 1.0, STATIONS)[:, None]

        def axis(implant: PlacedImplant) -> Floats:
            case = self.case_of(implant).implant
            foot, head = implant.on_axis(-case.length_mm), implant.on_axis(case.abutment_height_mm)
            return np.asarray(foot + share * (head - foot))

        for one, other in combinations(self.implants, 2):
            apart = np.linalg.norm(axis(one)[:, None] - axis(other)[None], axis=2).min()
            diameters = [self.case_of(i).implant.diameter_mm for i in (one, other)]
            if apart < sum(diameters) / 2:
                refuse(
                    f'place "{one.name}" and "{other.name}" one inside the other: their axes come '
                    f"within {apart:.3g} mm and must stay {sum(diameters) / 2:.3g} mm apart",
                    "implants",
                )
        return self

    @model_validator(mode="after")
    def _bridge_meets_implants(self) -> Self:
        for implant in self.implants:
            head = self.head_mm(implant)
            _, off = self.line.nearest(head)
            if off > self.bridge.width_mm / 2 + 1e-9:
                at = ", ".join(f"{x:.4g}" for x in head)
                refuse(
                    f'misses "{implant.name}" by {off:.3g} mm: its abutment\'s top is at [{at}], and '
                    f"the line must pass within half its width, {self.bridge.width_mm / 2:g} mm",
                    "bridge.path_mm",
                )
        return self

    @model_validator(mode="after")
    def _loads_on_bridge(self) -> Self:
        for load in self.loads:
            if load.bite == "cantilever_tip" and not self._has_cantilever:
                refuse(
                    f'"{load.name}" bites on the tip of a cantilever, and the bridge has none; give '
                    "bridge.end_cantilever_mm, or another bite",
                    "loads",
                )
            for force in load.forces or ():
                point = np.array(force.at_mm)
                place, off = self.line.nearest(point, dimensions=2)
                up = abs(float(point[2] - self.line.points(np.array([place]))[0, 2]))
                if off > REACH_MM or up > REACH_UP_MM:
                    refuse(
                        f'"{load.name}" is off the bridge: at_mm = {written(force.at_mm)} '
                        f"lies {off:.3g} mm beside its line and {up:.3g} mm from it in height; at most "
                        f"{REACH_MM:g} and {REACH_UP_MM:g} mm are carried",
                        "loads",
                    )
        return self

    @property
    def _has_cantilever(self) -> bool:
        places = [self.line.nearest(self.head_mm(implant))[0] for implant in self.implants]
        return max(min(places), self.line.length_mm - max(places)) > LEAST_PIECE_MM


PLAN_SECTIONS: Mapping[str, type[Section]] = MappingProxyType(
    {
        "": Plan,
        "implants": PlacedImplant,
        "bridge": BridgePlan,
        "loads": BridgeLoad,
        "loads.forces": PointForce,
    }
)
"""The sections of the plan file by name, without those of its cases."""


def plan_sections(data: Mapping[str, object]) -> Mapping[str, type[Section]]:
    """Return the sections of a raw plan, including those of each of its cases."""
    cases = data.get("cases")
    names = [name for name in cases if isinstance(name, str)] if isinstance(cases, Mapping) else []
    inside = {
        f"cases.{name}.{section}".rstrip("."): kind
        for name in names
        for section, kind in SECTIONS.items()
    }
    return {**PLAN_SECTIONS, **inside}


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
    implants = data.get("implants")
    cases = data.get("cases", {})
    if not isinstance(implants, list) or not isinstance(cases, dict):
        return data
    read: dict[str, Case] = {}
    placed = []
    for k, implant in enumerate(implants, start=1):
        name = implant.get("case_file") if isinstance(implant, dict) else None
        if name is None:
            placed.append(implant)
            continue
        text = ""
        if not isinstance(name, str) or "\0" in name:
            text = "must be the name of a file, in quotes"
        elif "case" in implant:
            text = "is not used with case; give one of the two"
        elif name in cases:
            text = "is the name of a table in [cases] too; rename one of the two"
        if text:
            raise case_error(
                [Problem(key=f"implants[{k}].case_file", value=written(name), text=text)], file
            )
        if name not in read:
            read[name] = read_case(folder / name)
        placed.append(
            {"case": name, **{key: value for key, value in implant.items() if key != "case_file"}}
        )
    return {**data, "implants": placed, "cases": {**cases, **read}}


def _refuse_same_name(names: list[str], kind: str) -> None:
    for name in names:
        if names.count(name) > 1:
            refuse(f'have the name "{name}" more than once; each {kind} needs its own')


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
