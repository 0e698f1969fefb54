"""The case: implant, bone, socket, interface and loads, validated on input.

A case is read from a TOML file (`read_case`) or made from dictionaries (`Case.from_dict`); both fill
every default and refuse unknown keys. The sections are frozen and compare by value.

Each key has its meaning and, for a default, its source; `docs/case_file.md` is generated from them.
Lengths are mm, depths are below the crest and positive, moduli MPa, forces N; micrometre and N·cm appear
only where the name of the key says so.
"""

from __future__ import annotations

import math
import os
import re
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Self

from pydantic import (
    BeforeValidator,
    Field,
    ValidationInfo,
    field_serializer,
    field_validator,
    model_validator,
)

from stillroot.inputs.bone import LEAST_BONE_BELOW_MM, LEAST_BONE_BESIDE_MM, Bone
from stillroot.inputs.case_messages import at_least, at_most, unknown_key
from stillroot.inputs.implant import LEAST_CORE_RADIUS_MM, Implant
from stillroot.inputs.interface import LEAST_HOLD_MM, Interface, Socket
from stillroot.inputs.load import Load
from stillroot.inputs.numerics import Numerics, Threshold
from stillroot.inputs.outline_points import read_outline
from stillroot.inputs.quantities import LARGEST_LOAD, LEAST_LOAD, MOST_LOADS, Pair
from stillroot.inputs.section import Problems, key, parts_of, refuse, sections_of, tables
from stillroot.inputs.toml_file import (
    InputFile,
    read_toml,
    refuse_name,
    resolved_toml,
    take_named_file,
)
from stillroot.inputs.uncertain import Uncertain, distribution, flattened, nested

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "LARGEST_LOAD",
    "LEAST_CORE_RADIUS_MM",
    "LEAST_HOLD_MM",
    "LEAST_LOAD",
    "SECTIONS",
    "STUDY_KEYS",
    "Case",
    "Implant",
    "Load",
    "Numerics",
    "key_problem",
    "read_case",
    "resolved_toml",
]

LONGEST_KEY = 100
STUDY_KEYS: Mapping[str, str] = MappingProxyType(
    {
        "engagement_mm": "length of one hold that ends where the deepest hold of the case ends",
        "engagement_from_crest_mm": "length of one hold that begins where the first hold begins",
        "load_factor": "all loads, times this",
        "trabecular_factor": "the modulus of the trabecular bone, at every depth, times this",
    }
)
"""Numbers that studies vary besides the keys of the file, with their meanings."""


def _as_uncertain(value: object) -> object:
    """Turn the raw [spread] table into distributions, each of an existing number."""
    if isinstance(value, tuple):
        return value
    if not isinstance(value, dict):
        refuse("must be a table: [spread], and a line a key below")
    found: dict[str, Uncertain] = {}
    for name, raw in flattened(value):
        text = key_problem(name) or ("is given twice" if name in found else "")
        made = text or distribution(name, raw)
        if isinstance(made, str):
            refuse(made, name)
        found[name] = made
    return tuple(found.values())


class Case(InputFile):
    """One implant in one site under one or more loads.

    `Case.from_dict` fills the defaults that one section takes from another: socket.holds_mm and each
    load's height_mm.
    """

    title: str = key(min_length=1)
    """Title of the case."""
    implant: Implant = key()
    """The implant."""
    bone: Bone = key()
    """The bone."""
    socket: Socket = key()
    """The socket."""
    interface: Interface = key(Interface())
    """The interface."""
    loads: Annotated[tuple[Load, ...], Field(max_length=MOST_LOADS), tables("load")] = key()
    """One [[loads]] table a load."""
    threshold: Threshold = key(Threshold())
    """The bands of tolerated micromotion."""
    numerics: Numerics = key(Numerics())
    """The numerics."""
    spread: Annotated[tuple[Uncertain, ...], BeforeValidator(_as_uncertain)] = key(
        (),
        shown="none; there are shipped ranges",
        exclude_if=lambda spread: not spread,
    )
    """Inputs known only roughly: one line for each key of this file, such as
    `bone.trabecular_modulus_mpa = [100, 400]`, `interface.friction = { mean = 0.4, sd = 0.1 }` or
    `trabecular_factor = { median = 1, factor = 2 }` (90 % within that factor). `loads.KEY` means every
    load, `loads[2].KEY` the second. A check tells its range over these, and over shipped ranges of what
    is not named here."""

    def to_dict(self) -> dict[str, Any]:
        """Return dictionaries with every default; `from_dict` makes an equal case of them."""
        data = super().to_dict()
        profile = data["bone"].get("trabecular_modulus_mpa", ())
        if len(profile) == 1 and profile[0][0] == 0:
            data["bone"]["trabecular_modulus_mpa"] = profile[0][1]
        return data

    def stated(self) -> dict[str, Any]:
        """Return dictionaries of what the case states, without defaults, to be changed and read again.

        A default that one key takes from another follows it then: holds over the whole implant and loads
        at the abutment's height count as not stated. The spread is left out.
        """
        data: dict[str, Any] = self.model_dump(
            mode="json", exclude_unset=True, exclude_none=True, exclude={"spread"}
        )
        if self.socket.holds_mm == ((0.0, self.implant.length_mm),):
            data["socket"].pop("holds_mm", None)
        for load in data["loads"]:
            if load["height_mm"] == self.implant.abutment_height_mm:
                del load["height_mm"]
        return data

    @property
    def engagement_length_mm(self) -> float:
        """Total length of the holds."""
        return sum(bottom - top for top, bottom in self.socket.holds_mm)

    @property
    def engaged_threads(self) -> float | None:
        """Threaded length of the holds over the pitch; None without a thread of known pitch."""
        thread = self.implant.thread
        if thread.form == "none":
            return None
        threaded = (max(0.0, b - max(t, thread.start_mm)) for t, b in self.socket.holds_mm)
        return sum(threaded) / thread.pitch_mm

    @property
    def block_mm(self) -> Pair:
        """Radius and depth of the bone: those of a stated block, or as given by `numerics.far_mm`."""
        far, bone = self.numerics.far_mm, self.bone
        radius = self.implant.diameter_mm / 2 + far if bone.radius_mm is None else bone.radius_mm
        depth = self.implant.length_mm + far if bone.depth_mm is None else bone.depth_mm
        return radius, depth

    @property
    def is_whole_block(self) -> bool:
        """Whether the bone is a block of stated size, so that its far support is where it is stated."""
        return self.bone.radius_mm is not None and self.bone.depth_mm is not None

    def with_numerics(self, **changes: float) -> Self:
        """Return the case with other numerics; they are not validated."""
        numerics = self.numerics.model_copy(update=changes)
        return self.model_copy(update={"numerics": numerics})

    @model_validator(mode="before")
    @classmethod
    def _socket_may_be_left_out(cls, data: object) -> object:
        return {"socket": {}, **data} if isinstance(data, dict) else data

    @field_validator("socket", "loads", mode="before")
    @classmethod
    def _defaults_from_implant(cls, value: object, info: ValidationInfo) -> object:
        """Fill defaults that depend on the implant; if that is itself invalid, with any valid value."""
        implant = info.data.get("implant")
        length, height = (implant.length_mm, implant.abutment_height_mm) if implant else (10.0, 6.0)
        if info.field_name == "socket":
            return _filled(value, "holds_mm", ((0.0, length),))
        if isinstance(value, list | tuple):
            return tuple(_filled(load, "height_mm", height) for load in value)
        return value

    @field_validator("socket")
    @classmethod
    def _holds_in_implant(cls, socket: Socket, info: ValidationInfo) -> Socket:
        implant = info.data.get("implant")
        if implant and socket.holds_mm[-1][1] > implant.length_mm + 1e-9:
            text = f"ends outside the implant: must stay within 0 to {at_most(implant.length_mm)} mm"
            refuse(text, "holds_mm")
        return socket

    @field_serializer("spread")
    def _spread_nested(self, spread: tuple[Uncertain, ...]) -> dict[str, Any]:
        return nested(spread)

    def _problems(self) -> Problems:
        length, radius = self.implant.length_mm, self.implant.diameter_mm / 2
        holds, gap, bone = self.socket.holds_mm, self.socket.gap_width_mm, self.bone
        covered = math.isclose(self.engagement_length_mm, length, abs_tol=1e-9)
        beside = radius + (0.0 if covered else gap) + LEAST_BONE_BESIDE_MM
        below = length + (gap if holds[-1][1] < length - 1e-9 else 0.0) + LEAST_BONE_BELOW_MM
        for name, size, least, margin, where in (
            ("bone.radius_mm", bone.radius_mm, beside, LEAST_BONE_BESIDE_MM, "beside"),
            ("bone.depth_mm", bone.depth_mm, below, LEAST_BONE_BELOW_MM, "below"),
        ):
            if size is not None and size < least - 1e-9:
                text = (
                    f"must be at least {at_least(least)} mm, so that {margin:g} mm of bone remain "
                    f"{where} the implant and its gap"
                )
                yield name, text


SECTIONS = sections_of(Case)
"""The sections of the file by name."""


def key_problem(key: str) -> str:
    """Return what is wrong with the key of a number that is to vary; "" where nothing is.

    Lists count from 1: "loads[1].axial_n", "socket.holds_mm[1][2]".
    """
    plain = re.sub(r"(\[[1-9]\d*\])+", "", key[:LONGEST_KEY])
    if plain in STUDY_KEYS:
        return "" if key == plain else "has no list"
    section, _, name = plain.rpartition(".")
    if section not in SECTIONS or name not in SECTIONS[section].model_fields:
        return unknown_key(section if section in SECTIONS else "", plain, SECTIONS, STUDY_KEYS)
    parts = list(parts_of(SECTIONS[section].model_fields[name].annotation))
    textual = any(part is str or isinstance(part, str) for part in parts)
    varies = not textual and any(part in (float, int) for part in parts)
    return "" if varies else "is not a number, so it cannot vary"


def read_case(path: str | os.PathLike[str]) -> Case:
    """Read and check a case file, and the outline file that it may name.

    Raises
    ------
    CaseError
        The file cannot be read, is no valid TOML, or has a wrong key or value; one line per problem.
    """
    file = os.fspath(path)
    data = read_toml(path, "case")
    implant = data.get("implant")
    if isinstance(implant, dict) and "outline_csv" in implant:
        name = take_named_file(implant, "outline_csv", "outline_mm", "implant", file)
        implant["outline_mm"], text = read_outline(Path(path).parent / name)
        refuse_name("implant.outline_csv", name, text, file)
    return Case.from_dict(data, file)


def _filled(section: object, key: str, value: object) -> object:
    """Return a copy of a raw section with a default, unless it has the key or is no table."""
    if isinstance(section, dict) and section.get(key) is None:
        return {**section, key: value}
    return section
