"""Bad, odd and extreme case files, made from the shipped ones: hypothesis strategies.

A mutant is a shipped case, made small, with changes of one or several of the `KINDS`; `grammar.toml` has
what they put in. Keys, types and limits come from the sections of the case, corners from the outline of
the implant; the edges that other keys set to one are found by bisection on the sections.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache, partial
from itertools import combinations, pairwise
from operator import add, mul
from pathlib import Path
from typing import Any, TypeVar

import tomli_w
from hypothesis import strategies as st

from stillroot.answers.answer import HIGHEST_MM
from stillroot.inputs.case import LEAST_HOLD_MM, SECTIONS, Case
from stillroot.mechanics.outline import implant_wall

T = TypeVar("T")
Data = dict[str, Any]
Change = Callable[["Draft"], None]

DOCS = Path(__file__).parents[2] / "docs"
GRAMMAR: Data = tomllib.loads((Path(__file__).parent / "grammar.toml").read_text(encoding="utf-8"))
CASE_FILE, OUTLINE_FILE = "case.toml", "outline.csv"
MANY = (50, 900, 5000, 100_000)
VALID_PERCENT, QUICK_VALID_PERCENT = 55, 6
"""Of the mutants that begin with a kind whose cases are mostly valid; in a quick campaign."""
HOW_MANY, QUICK_HOW_MANY = (1,) * 13 + (2,) * 4 + (3,) * 2 + (4,), (2,) * 7 + (3,) * 3
"""Changes in one mutant, as often as they stand here; in a quick one that is to be refused, since one
alone often leaves a case valid."""
LONG_TEXT = 50_000
COSTLY = ("numerics.", "implant.length_mm", "implant.thread.pitch_mm")
"""At their limits a solve is long: they are drawn now and then, and never in a quick campaign."""
PARTNERS = {"implant.modulus_mpa": ("poisson", 0.3), "implant.poisson": ("modulus_mpa", 1e5)}
PARTNERS |= {"loads.force_n": ("angle_deg", 20.0), "loads.angle_deg": ("force_n", 40.0)}
"""What a key needs beside it."""
DEPENDENT = (("socket", "holds_mm"), ("bone", "radius_mm"), ("bone", "depth_mm"))
"""What has to suit the implant."""
INWARDS = {"minimum": 1, "exclusiveMinimum": 1, "maximum": -1, "exclusiveMaximum": -1}
STRAY = b'\x00\x01\x1b\x7f\x80\xff"[]{}=.,#\\\n\r\t -+_eE0'

# What anything may be replaced by; hypothesis adds NaN, the ends of ranges and odd letters of its own.
FROM = {name: st.sampled_from(options) for name, options in GRAMMAR.items() if isinstance(options, list)}
NUMBERS = FROM["numbers"] | st.sampled_from((2**64, 10**30, 10**400)) | st.floats() | st.integers()
LONG = st.builds(mul, st.sampled_from("xΩ🦷"), st.sampled_from((50, 20_000)))
TEXTS = FROM["texts"] | st.text() | LONG
TIMES = st.dates() | st.times() | st.datetimes()
ANYTHING = st.recursive(
    NUMBERS | TEXTS | TIMES | st.booleans(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=2),
    max_leaves=6,
)
ARRAYS = st.lists(NUMBERS | st.lists(NUMBERS, max_size=3) | ANYTHING, max_size=3)
NEAR = st.builds(mul, st.sampled_from((1, -1)), FROM["tiny"])


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """Files of a folder, and the arguments that stillroot is run with in it.

    `hurdle` is what is put in the way of writing: "", "disk full" or "stdout full".
    """

    kinds: tuple[str, ...] = ()
    files: dict[str, bytes]
    arguments: tuple[str, ...]
    hurdle: str = ""

    @property
    def out(self) -> str:
        """The folder that is asked for, or ""."""
        given = self.arguments
        return given[given.index("--out") + 1] if "--out" in given else ""

    @property
    def answer_name(self) -> str:
        """Name of the answer's file and of its schema."""
        return "result" if self.arguments[0] == "check" else self.arguments[0]


@dataclass(kw_only=True)
class Draft:
    """A mutant in the making: `data` is changed first, then written as `text`, which is changed next."""

    draw: st.DrawFn
    quick: bool
    data: Data = field(default_factory=dict)
    text: bytes = b""
    files: dict[str, bytes] = field(default_factory=dict)
    hurdle: str = ""
    path: str = CASE_FILE
    out: str = ""

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options."""
        return self.draw(st.sampled_from(options))

    def chance(self, percent: int) -> bool:
        """Return True as often as that, and False in the simplest mutant."""
        return self.pick(range(100)) >= 100 - percent

    def table(self, section: str) -> Data:
        """Return a section to be changed, made where it is missing; of the loads, the first."""
        reached = self.data
        for step in section.split(".") if section else []:
            inner = reached.get(step)
            if step == "loads":
                if not (isinstance(inner, list) and inner and isinstance(inner[0], dict)):
                    inner = reached[step] = [{"name": "made up", "axial_n": 10.0}]
                inner = inner[0]
            elif not isinstance(inner, dict):
                inner = reached[step] = {}
            reached = inner
        return reached

    def number(self, key: str, default: float) -> float:
        """Return a number of the case with its defaults, or another where it is missing or is none."""
        with suppress(
            Exception
        ):  # whatever is wrong with the case, the program is tried on it, not here
            reached: Any = Case.from_dict(self.data)
            for step in key.split("."):
                reached = getattr(reached, step)[0] if step == "loads" else getattr(reached, step)
            return float(reached)
        return default

    def corners(self) -> list[float]:
        """Return the depths of the corners of the implant, or of its ends where it is not valid."""
        with suppress(Exception):
            return sorted({-float(z) for z in implant_wall(Case.from_dict(self.data).implant)[:, 1]})
        return [0.0, 3.0]

    def put(self, key: str, value: Any) -> None:
        """State a key, whatever it excludes."""
        section, _, name = key.rpartition(".")
        self.table(section)[name] = value

    def leave_out(self, keys: Sequence[str]) -> None:
        """No longer state these keys."""
        for section, _, name in (key.rpartition(".") for key in keys):
            self.table(section).pop(name, None)

    def state(self, key: str, value: Any) -> None:
        """State a key with what it needs, and leave out as few others as make the case valid.

        Those of its section are tried, and those that depend on sizes; where none helps, all stay.
        """
        section, sound = key.rpartition(".")[0], _is_valid(self.data)
        self.put(key, value)
        if key in PARTNERS:
            self.table(section).setdefault(*PARTNERS[key])
        others = [f"{section}.{name}".lstrip(".") for name in self.table(section) if section]
        others += [".".join(place) for place in DEPENDENT]
        before = self.data
        for count in range(5 * sound):
            for left_out in combinations([other for other in others if other != key], count):
                self.data = copy.deepcopy(before)
                self.leave_out(left_out)
                if _is_valid(self.data):
                    return
        self.data = before

    def edge(self, key: str, end: float) -> float:
        """Return the value towards an end, beyond which the rest of the case no longer allows it."""
        inside, outside = self.number(key, 10.0), end
        self.state(key, inside)
        for _ in range(60):
            middle = (inside + outside) / 2
            self.put(key, middle)
            inside, outside = (middle, outside) if _is_valid(self.data) else (inside, middle)
        return inside


def _is_valid(data: Data) -> bool:
    with suppress(Exception):
        Case.from_dict(data)
        return True
    return False


# Keys and their values ---------------------------------------------------------------------------


@cache
def fields() -> dict[str, Data]:
    """Return the schema of every key that holds no table, by its name: "bone.poisson" and so on."""
    found = {}
    for section, model in SECTIONS.items():
        for key, stated in model.model_json_schema()["properties"].items():
            found[f"{section}.{key}".lstrip(".")] = stated.get("anyOf", [stated])[0]
    return {key: schema for key, schema in found.items() if "$ref" not in schema}


@cache
def limits(key: str) -> tuple[tuple[float, int], ...]:
    """Return (value, 1 where the range lies above, else -1) for each limit of a number."""
    return tuple(
        (fields()[key][end], inwards) for end, inwards in INWARDS.items() if end in fields()[key]
    )


def _value(draft: Draft, key: str, sources: Sequence[Any]) -> Any:
    """Return a value for a key from one of the sources, see `grammar.toml`."""
    schema, source, ends = fields()[key], draft.pick(sources), limits(key)
    if source not in ("limit", "edge", "corner", "between"):
        return source
    if "enum" in schema:
        return draft.pick(schema["enum"])
    if schema["type"] == "string":
        return draft.draw(TEXTS)
    if schema["type"] == "array":
        return _array(draft, key, source)
    if source == "edge":
        beyond = (
            [value for value, _ in ends] if len(ends) > 1 else [ends[0][0] if ends else -1e9, 0.0, 1e9]
        )
        return draft.edge(key, draft.pick(beyond)) + draft.draw(NEAR)
    if source == "corner":
        return draft.pick(draft.corners()) + draft.draw(NEAR)
    if source == "limit" and ends:
        value, inwards = draft.pick(ends)
        if schema["type"] == "integer":
            return value + draft.pick((0, 1, -1))
        return value + draft.draw(FROM["off"]) * (abs(value) or 1.0) * inwards * draft.pick((1, 1, -1))
    within = [x for x in GRAMMAR["sizes"] if all((x - value) * inwards >= 0 for value, inwards in ends)]
    return draft.pick(within) if schema["type"] == "number" else int(draft.pick(within))


def _array(draft: Draft, key: str, source: str) -> Any:
    """Return holds, a profile, bands or an outline; depths are near corners, or in between too."""
    if key == "implant.outline_mm":
        return _outline(draft)
    if key == "threshold.bands_um":
        return _rising(draft, st.sampled_from((5e-324, 1e-9, 0.1 + 0.2, 0.3001, 50, 50 + 1e-12, 1e6)))
    deepest = max(draft.corners())
    places = st.sampled_from(draft.corners()) | (st.just(0.0) if source == "corner" else st.nothing())
    if source == "between":
        places |= st.integers(0, 40).map(lambda i: i * deepest / 40)
    depths = _rising(
        draft, st.builds(add, places, NEAR).map(lambda depth: min(max(depth, 0.0), deepest))
    )
    if key == "socket.holds_mm":
        pairs = draft.pick((list(zip(depths[::2], depths[1::2], strict=False)), list(pairwise(depths))))
        return [list(pair) for pair in pairs if pair[1] - pair[0] >= LEAST_HOLD_MM] or [[0.0, deepest]]
    depths = [*depths, *draft.pick(((), (), (1e6,), (1e300, 1.7e308)))]
    modulus = partial(_value, draft, "bone.cortical_modulus_mpa", ["limit", "between"])
    return [[depth, modulus()] for depth in depths]


def _rising(draft: Draft, values: st.SearchStrategy[float]) -> list[float]:
    return sorted(draft.draw(st.lists(values, min_size=1, max_size=8, unique=True)))


def _outline(draft: Draft) -> list[list[float]]:
    """Return a way down in steps: some hardly any, some up again, some that nearly close a slot."""
    radii = st.sampled_from((2.0, 1.0, 1.5, 2.5, 0.25, 3.0, 0.0)) | NEAR | NEAR.map(lambda x: 2.0 + x)
    steps = st.sampled_from((1.0, 2.0, 0.5, 0.1, 0.0, -1.5)) | NEAR.map(abs)
    depth = 0.0
    points = [[draft.pick((2.0, 2.0, 1.5, 5.0, 1e-6)), depth]]
    for radius, step in draft.draw(st.lists(st.tuples(radii, steps), max_size=8)):
        depth += step
        points.append([abs(radius), -depth])
    return [*points, [draft.pick((2.0, 1.0, 0.0, 1e-9)), -max(depth, 0.0) - draft.pick((2.0, 0.5))]]


# Kinds -------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of change; `valid` where most of its cases may be answered."""

    name: str
    valid: bool
    weight: int
    apply: Change


KINDS: dict[str, Kind] = {}


def kind(name: str, weight: int = 2, *, valid: bool = False) -> Callable[[Change], Change]:
    """Add a change to `KINDS`."""

    def add_it(apply: Change) -> Change:
        KINDS[name] = Kind(name=name, valid=valid, weight=weight, apply=apply)
        return apply

    return add_it


def _stating(draft: Draft, *, states: Data, every: bool = False, **others: Any) -> None:
    """State keys: all, or one and sometimes another."""
    draft.leave_out(others.get("leave_out", ()))
    for key in states if every else [draft.pick([*states]) for _ in range(1 + draft.chance(40))]:
        draft.state(key, _value(draft, key, states[key]))
    if "then" in others:
        key = draft.pick(others["then"])
        draft.state(key, _value(draft, key, ["between", "limit"]))


for _name, _stated in GRAMMAR["kinds"].items():
    kind(_name, _stated.pop("weight", 2), valid=True)(partial(_stating, **_stated))


@kind("at a limit", 12, valid=True)
def _at_a_limit(draft: Draft) -> None:
    costly = not draft.quick and draft.chance(15)
    keys = [key for key in fields() if limits(key) and (costly or not key.startswith(COSTLY))]
    _stating(draft, states={key: ["limit"] for key in keys})


# Text --------------------------------------------------------------------------------------------


def _edited(
    draft: Draft, *, at: str, others: Sequence[str] = (), to_end: bool = False, most: int = 1
) -> None:
    """Replace places in the text by others, templates of `grammar.toml`; without any, by stray bytes."""
    for _ in range(draft.pick((1, most))):
        places = [found.span() for found in re.finditer(at.encode(), draft.text)]
        start, end = draft.pick(places or [(0, 0)])
        old, end = draft.text[start:end], len(draft.text) if to_end else end
        stray = st.sampled_from(STRAY).map(lambda byte: bytes([byte])) | st.binary(max_size=2)
        made = st.builds(_made, st.sampled_from(others or [""]), st.just(old), st.sampled_from(MANY))
        new = draft.draw(made if others else st.builds(add, stray, st.sampled_from((b"", old))))
        draft.text = draft.text[:start] + new + draft.text[end:]


def _made(template: str, old: bytes, many: int) -> bytes:
    """Fill in a template: * is what was there, ~ without its brackets, <x> many x; or an encoding."""
    if template.startswith("encoding "):
        return old.decode("utf-8", errors="replace").encode(template.split()[1], errors="replace")
    first, _, second = old.partition(b"\n")
    new = re.sub(rb"<([^>]*)>", lambda found: found[1] * many, template.encode())
    swapped = new.replace(b"&", second + first + b"\n" if first else b"")
    return swapped.replace(b"*", old).replace(b"~", old.strip(b"[]"))


for _name, _edit in GRAMMAR["edits"].items():
    kind(_name, _edit.pop("weight", 2), valid=_edit.pop("valid", False))(partial(_edited, **_edit))


@kind("text: shipped, with its comments", 1)
def _shipped_text(draft: Draft) -> None:
    """Take the text of a shipped case as it stands, one load of it, coarse; then lose a line."""
    if not draft.quick:
        text = draft.pick(_shipped()).rpartition("[[loads]]")[0]
        draft.text = f"{text}\n[numerics]\nelement_mm = 2.0\nharmonics = 3\n".encode()
    KINDS["text: line lost"].apply(draft)


# Structure ---------------------------------------------------------------------------------------


def _places(data: Any, wanted: Any = object) -> Iterator[tuple[Any, Any]]:
    """Yield (table or list, key) of all that is of a type."""
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        if isinstance(value, wanted) and not (wanted == (int, float) and isinstance(value, bool)):
            yield data, key
        if isinstance(value, dict | list):
            yield from _places(value, wanted)


def _swapped(wanted: Any, others: Callable[[Any], st.SearchStrategy[Any]], draft: Draft) -> None:
    """Replace a value of a type by another, where there is one."""
    if places := [*_places(draft.data, wanted)]:
        table, key = draft.pick(places)
        table[key] = copy.deepcopy(draft.draw(others(table[key])))


def _wrapped(value: Any) -> st.SearchStrategy[Any]:
    """Return a strategy of other types, some with the value inside."""
    some = (str(value)[:100], [value], [[value]], {"value": value}, {"": value}, [value, value, "x", {}])
    return st.sampled_from((*some, [], {}, True, 1, "")) | ANYTHING


def _scaled(value: float) -> st.SearchStrategy[Any]:
    return FROM["factors"].map(lambda factor: value * factor if abs(value) < 1e300 else factor)


for _name, _weight, _wanted, _put in (
    ("structure: type swapped", 4, object, _wrapped),
    ("structure: table or list replaced", 2, (dict, list), _wrapped),
    ("structure: number replaced", 6, (int, float), lambda _: NUMBERS | st.booleans()),
    ("structure: number scaled", 3, (int, float), _scaled),
):
    kind(_name, _weight)(partial(_swapped, _wanted, _put))


@kind("structure: array of another shape", 4)
def _array_shape(draft: Draft) -> None:
    arrays = [key for key, schema in fields().items() if schema.get("type") == "array"]
    draft.put(draft.pick((*arrays, *arrays, "interface.friction")), draft.draw(ARRAYS))


def _key_moved(draft: Draft, *, lost: bool, renamed: bool) -> None:
    """Take a key away, and put it back under another name, or into another table (or both)."""
    tables = [draft.data, *(table[key] for table, key in _places(draft.data, dict))]
    if places := [(table, key) for table in tables for key in table]:
        table, key = draft.pick(places)
        value = table[key] if not renamed and draft.chance(50) else table.pop(key)
        typed = [key.upper(), key[1:], key[:-1], f"{key}s", key[1:2] + key[:1] + key[2:], "self"]
        typed += [f"{key.rpartition('_')[0]}_{unit}" for unit in GRAMMAR["units"]]
        if not lost:
            new = draft.draw(st.sampled_from(typed) | TEXTS) if renamed else key
            (table if renamed else draft.pick(tables))[new] = copy.deepcopy(value)


kind("structure: key lost", 4)(partial(_key_moved, lost=True, renamed=True))
kind("structure: key renamed", 4)(partial(_key_moved, lost=False, renamed=True))
kind("structure: key moved or doubled")(partial(_key_moved, lost=False, renamed=False))


@kind("structure: contradiction", 4)
def _contradiction(draft: Draft) -> None:
    """State what keys of a section may be, each by itself, beside whatever excludes it."""
    section = draft.pick([name for name in SECTIONS if name not in ("", "numerics")])
    keys = [key for key in fields() if key.rpartition(".")[0] == section]
    for key in draft.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=3, unique=True)):
        draft.put(key, _value(draft, key, ["between", "limit"]))


@kind("structure: nothing but a section")
def _bare(draft: Draft) -> None:
    draft.leave_out(draft.draw(st.lists(st.sampled_from([*draft.data] or ["title"]), unique=True)))


@kind("structure: huge array", 1)
def _huge_array(draft: Draft) -> None:
    count = range(draft.pick((300, 999, 1001, 3000, 20_000)))
    n = len(count)
    # The teeth of a comb share their depths. Of the loads two have one name: as many would take long.
    arrays: Data = {
        "bone.trabecular_modulus_mpa": [[3 * i / n, 100.0 + i / n] for i in count],
        "socket.holds_mm": [[i * 0.3, i * 0.3 + 0.25] for i in count],
        "threshold.bands_um": [i + 1.0 for i in count],
        "loads": [{"name": f"load {i % (n - 1)}", "axial_n": 10.0} for i in count],
        "implant.outline_mm": [[2.0 - 1.9 * i / n, -1.0 if i % 2 else -3.0 * (i > 0)] for i in count],
        "implant.outline_mm ": [[2.0 + 1e-3 * (i % 2), -i * 1e-4] for i in count],
    }
    key = draft.pick([*arrays])
    draft.state(key.strip(), arrays[key])


@kind("geometry: outline in a file", valid=True)
def _outline_in_a_file(draft: Draft) -> None:
    KINDS["geometry: outline of an odd shape"].apply(draft)
    lines = "".join(f"{r!r},{z!r}\n" for r, z in draft.table("implant").pop("outline_mm", ()))
    wrong = draft.chance(10)
    draft.put("implant.outline_csv", draft.draw(FROM["outline_paths"]) if wrong else OUTLINE_FILE)
    text = draft.draw(FROM["outline_files"]) if draft.chance(50) else "+"
    written = text.replace("+", "r_mm,z_mm\n*").replace("*", lines)
    separators = draft.pick((*[(",", "\n")] * 7, (",", "\r\n"), (", ", "\n"), (";", "\n")))
    draft.files[OUTLINE_FILE] = written.replace(",", separators[0]).replace("\n", separators[1]).encode()


@kind("words: several loads", 1, valid=True)
def _several_loads(draft: Draft) -> None:
    names = draft.draw(st.lists(FROM["names"], min_size=2, max_size=3))
    draft.data["loads"] = [draft.table("loads") | {"name": name} for name in names]


def _set(draft: Draft, *, attributes: Data, files: Data | None = None) -> None:
    """Set what stands beside the case: its path, where the answer goes, what is in its way."""
    draft.files.update({name: text.encode() for name, text in (files or {}).items()})
    for name, options in attributes.items():
        setattr(draft, name, draft.pick(options).replace("<long>", "x" * 300))


for _name, _beside in GRAMMAR["beside"].items():
    kind(_name, 1)(partial(_set, **_beside))


# Mutants -----------------------------------------------------------------------------------------


@cache
def _shipped() -> tuple[str, ...]:
    return tuple(path.read_text(encoding="utf-8") for path in sorted((DOCS / "cases").glob("*.toml")))


def _begin(draft: Draft) -> None:
    """Take a shipped case, nearly always made small and coarse."""
    quick, full_size = draft.quick, not draft.quick and draft.chance(6)
    data = draft.data = tomllib.loads(draft.pick(_shipped()))
    if full_size and draft.chance(15):
        return
    data["loads"] = [draft.pick(data["loads"])]
    sizes = (2.0,) if quick else (0.5, 0.8, 1.0) if full_size else (1.0, 1.5, 2.0)
    data["numerics"] = {"element_mm": draft.pick(sizes), "harmonics": 6 if full_size else 3}
    if full_size:
        return
    if quick or draft.chance(70):
        data["interface"].pop("measured_torque_ncm", None)
    # A short implant, its holds with it, and a coarse thread or none; a small block is a small mesh.
    implant, length = data["implant"], draft.pick((3.0,) if quick else (3.0, 4.0, 5.0))
    for hold in data.get("socket", {}).get("holds_mm", ()):
        hold[:] = [depth * length / implant["length_mm"] for depth in hold]
    implant["length_mm"] = length
    implant["thread"] = implant["thread"] | {"pitch_mm": 1.25}
    if draft.chance(70 if quick else 25):
        implant["thread"] = {"form": "none"}
    if draft.chance(90 if quick else 70):
        data["bone"] |= {"radius_mm": 8.0, "depth_mm": length + 4.0}


def _arguments(draft: Draft) -> Iterator[str]:
    command = "directions" if draft.chance(12) else "check"
    yield from (command, draft.path)
    if command == "directions" and draft.chance(50):
        heights = st.sampled_from((0.0, 6.0, -draft.number("implant.length_mm", 3.0), HIGHEST_MM))
        yield from ("--at-height", str(draft.draw(heights | st.floats())))
    if command == "check" and not draft.quick and draft.chance(2):
        yield from draft.pick((("--tolerance", "30%"), ("--tolerance", "0.99"), ("--choices",)))
    if command == "check" and draft.quick and not draft.chance(15):
        yield "--no-range"  # a range is some twenty solves
    # Pictures and fields take longer than a coarse solve: they are asked for where a refusal is likely.
    answered = False
    with suppress(ValueError, RecursionError):
        short = draft.text[:LONG_TEXT].decode("utf-8-sig")  # a long one may take long to read
        answered = _is_valid(tomllib.loads(short))
    if not draft.out and draft.chance(4 if answered else 50):
        draft.out = draft.draw(FROM["outs"])
    if not draft.out or draft.chance(75):
        yield "--json"
    if draft.out:
        yield from ("--out", draft.out)


@st.composite
def mutants(draw: st.DrawFn, *, quick: bool = False, first: str = "") -> Mutant:
    """Return a mutant; `quick` ones are smaller, and fewer of them are valid. `first` names a kind."""
    draft = Draft(draw=draw, quick=quick)
    _begin(draft)
    valid = draft.chance(QUICK_VALID_PERCENT if quick else VALID_PERCENT)
    chosen = [
        draft.pick([one for one in KINDS.values() if one.valid == valid for _ in range(one.weight)])
        for _ in range(draft.pick(QUICK_HOW_MANY if quick and not valid else HOW_MANY))
    ]
    if len(chosen) > 1 and draft.chance(30):  # most valid ones stay so
        chosen[-1] = draft.pick([one for one in KINDS.values() if one.valid != valid])
    if first:
        chosen[0] = KINDS[first]
    of_text = [one for one in chosen if one.name.startswith("text")]
    for one in sorted((one for one in chosen if one not in of_text), key=lambda one: not one.valid):
        one.apply(draft)
    draft.text = tomli_w.dumps(draft.data).encode("utf-8", errors="surrogatepass")
    for one in of_text:
        one.apply(draft)
    return Mutant(
        kinds=tuple(one.name for one in chosen),
        arguments=tuple(_arguments(draft)),
        files={CASE_FILE: draft.text, **draft.files},
        hurdle=draft.hurdle,
    )
