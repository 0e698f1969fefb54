"""Bad, odd and extreme case files, made from the shipped ones.

`mutant(seed, index)` is the same whenever the sections of the case file are the same: it draws from a
generator of its own, so any of them can be made again alone. About half should be valid cases at the
edge of what may be stated; these are small and coarse, since it is not their numbers that are looked at.

The limits of the keys are read from the sections of the case, and the corners of an implant from its
outline: what is near a limit or a corner stays so when those change.
"""

from __future__ import annotations

import copy
import datetime as dt
import math
import random
import re
import string
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, get_args

import annotated_types
import tomli_w

from stillroot.answers.answer import HIGHEST_MM
from stillroot.inputs.bone import LEAST_BONE_BELOW_MM, LEAST_BONE_BESIDE_MM
from stillroot.inputs.case import SECTIONS, Case
from stillroot.inputs.implant import LEAST_CORE_RADIUS_MM
from stillroot.inputs.interface import LEAST_HOLD_MM
from stillroot.inputs.quantities import (
    LARGEST_LENGTH_MM,
    LARGEST_LOAD,
    LARGEST_MODULUS_MPA,
    LEAST_LENGTH_MM,
    LEAST_LOAD,
    LEAST_MODULUS_MPA,
)
from stillroot.mechanics.outline import SNAP_MM, implant_wall
from stillroot.mechanics.torque import LARGEST_INTERFERENCE_UM

Data = dict[str, Any]

SHIPPED = Path(__file__).parents[2] / "docs" / "cases"
CASE_FILE, OUTLINE_FILE, OUT = "case.toml", "outline.csv", "answer"
MANY_POINTS, LONG_TEXT = 500, 50_000
VALID_SHARE = 0.55
"""Of the mutants that begin with a kind whose cases are mostly valid."""
QUICK_VALID_SHARE = 0.06
"""The same in the slice that runs with the tests."""
HOW_MANY = ((1, 0.65), (2, 0.2), (3, 0.1), (4, 0.05))
"""Mutations in one mutant, and how often."""
QUICK_HOW_MANY = ((2, 0.7), (3, 0.3))
"""The same of those in the slice that are to be refused: one alone often leaves a case valid."""
COSTLY = {
    ("numerics", "element_mm", "lower"),
    ("numerics", "harmonics", "upper"),
    ("numerics", "load_steps", "upper"),
    ("implant", "length_mm", "upper"),
}
"""Ends of ranges at which a solve is long: drawn now and then."""

NUMBERS = (
    *(0, 0.0, -0.0, 1, -1, -1.0, 0.5, 3, 7, 1e-3, 1e-6, 1e-9, 1e-12, 1e3, 1e6, 1e9),
    *(math.nan, math.inf, -math.inf, 1e308, -1e308, 1e-308, -1e-308, 5e-324),
    *(2**31, 2**53 + 1, 2**63 - 1, 2**63, -(2**64), 10**30, 10**400, True, False),
)
"""What a number may be replaced by."""
TINY = (
    *(0.0, 1e-15, 1e-12, 1e-10, 0.9e-9, 1e-9, 1.1e-9, 1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3, 0.01),
    *(SNAP_MM * (1 - 1e-9), SNAP_MM, SNAP_MM * (1 + 1e-9)),
)
"""How near [mm] a corner something may lie."""
TEXTS = (
    *(
        "",
        " ",
        "\t",
        "\n",
        "a\nb",
        "\r",
        "\x00",
        "a\x00b",
        "\x1b[31mred\x1b[0m",
        "\x7f",
        "\x85",
        "\u2028",
    ),
    *("[bold]x[/bold]", "[/]", "[red", "{title}", "%s %d", "$HOME", "`x`", "\\", '"', "'", '"""', "<&>"),
    *(
        "../../x",
        "/etc/passwd",
        "C:\\x",
        "con",
        ".",
        "..",
        "-",
        "--json",
        "µm ± °",
        "Ω" * 200,
        "x" * 20_000,
    ),
    *(
        "🦷",
        "🦷" * 50,
        "e\u0301",
        "\u200b",
        "\u202eabc",
        "\ufeff",
        "\ufffe",
        "𝔘",
        "ﷺ",
        "nan",
        "true",
        "1e3",
    ),
)
"""What a text may be replaced by."""
WRONG_UNITS = ("cm", "m", "um", "in", "inch", "nm", "kn", "gpa", "rad", "MM", "mm2", "")
TOKEN = re.compile(rb"(?<![\w.\"#-])[-+]?\d[\d_]*(?:\.\d+)?(?:[eE][-+]?\d+)?(?![\w.])")


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """Files of a folder, and the arguments that stillroot is run with in it.

    `hurdle` is what is put in the way of writing: "", "disk full" or "stdout full".
    """

    seed: int
    index: int
    kinds: tuple[str, ...]
    files: dict[str, bytes]
    arguments: tuple[str, ...]
    hurdle: str

    @property
    def out(self) -> str:
        """The folder that is asked for, or ""."""
        given = self.arguments
        return given[given.index("--out") + 1] if "--out" in given else ""


@dataclass(kw_only=True)
class Draft:
    """A mutant in the making: `data` is changed first, then written, then `edits` change the text."""

    rng: random.Random
    quick: bool
    data: Data
    files: dict[str, bytes] = field(default_factory=dict)
    edits: list[Callable[[bytes], bytes]] = field(default_factory=list)
    hurdle: str = ""
    path: str = CASE_FILE
    out: str = ""
    kinds: list[str] = field(default_factory=list)

    def section(self, name: str) -> Data:
        """Return a section to be changed, made where it is missing; of the loads, one of them."""
        reached = self.data
        for step in name.split(".") if name else []:
            inner = reached.get(step)
            if step == "loads":
                if not (isinstance(inner, list) and inner and all(isinstance(i, dict) for i in inner)):
                    inner = reached[step] = [{"name": "made up", "axial_n": 10.0}]
                reached = self.rng.choice(inner)
                continue
            if not isinstance(inner, dict):
                inner = reached[step] = {}
            reached = inner
        return reached

    def number(self, section: str, key: str, default: float) -> float:
        """Return a number of the case, or a default where it is missing or is none."""
        value = self.section(section).get(key, default)
        sound = isinstance(value, int | float) and not isinstance(value, bool)
        return float(value) if sound and abs(value) < 1e6 else default

    @property
    def length_mm(self) -> float:
        """The length of the implant, about."""
        return self.number("implant", "length_mm", 10.0)

    def near(self, value: float) -> float:
        """Return a value a little off another."""
        return value + self.rng.choice((-1, 1)) * self.rng.choice(TINY)

    def corners(self) -> list[float]:
        """Return the depths of the corners of the implant, or of its ends where it is not valid."""
        points = self.section("implant").get("outline_mm", ())
        if not isinstance(points, list | tuple) or len(points) > MANY_POINTS:
            return [0.0, self.length_mm]
        if "thread" in self.section("implant") and self.length_mm > MANY_POINTS * self.number(
            "implant.thread", "pitch_mm", 1.0
        ):
            return [0.0, self.length_mm]
        try:
            wall = implant_wall(Case.from_dict(self.data).implant)
        except Exception:
            return [0.0, self.length_mm]
        return sorted({-float(z) for z in wall[:, 1]})


Mutation = Callable[[Draft], None]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of mutation; `valid` where most of its cases may be answered."""

    name: str
    valid: bool
    weight: float
    apply: Mutation


KINDS: dict[str, Kind] = {}


def kind(name: str, *, valid: bool = False, weight: float = 1.0) -> Callable[[Mutation], Mutation]:
    """Add a mutation to `KINDS`."""

    def add(apply: Mutation) -> Mutation:
        KINDS[name] = Kind(name=name, valid=valid, weight=weight, apply=apply)
        return apply

    return add


def mutant(seed: int, index: int, *, quick: bool = False) -> Mutant:
    """Return a mutant. `quick` ones are smaller, and fewer of them are valid."""
    rng = random.Random(f"{seed}/{index}")  # noqa: S311 - not for secrets
    draft = Draft(rng=rng, quick=quick, data=_base(rng, quick=quick))
    valid = rng.random() < (QUICK_VALID_SHARE if quick else VALID_SHARE)
    how_many = QUICK_HOW_MANY if quick and not valid else HOW_MANY
    count = rng.choices(*zip(*how_many, strict=True))[0]
    chosen = [_draw(rng, valid=valid) for _ in range(count)]
    # Most of the valid ones stay so: a second mutation of another sort comes rarely.
    if len(chosen) > 1 and rng.random() < 0.3:
        chosen[-1] = _draw(rng, valid=not valid)
    for one in chosen:
        one.apply(draft)
        draft.kinds.append(one.name)
    return _finished(draft, seed, index)


def _draw(rng: random.Random, *, valid: bool) -> Kind:
    kinds = [k for k in KINDS.values() if k.valid == valid]
    return rng.choices(kinds, [k.weight for k in kinds])[0]


def _finished(draft: Draft, seed: int, index: int) -> Mutant:
    rng = draft.rng
    text = _written(draft.data)
    for edit in draft.edits:
        text = edit(text)
    command = "directions" if rng.random() < 0.12 else "check"
    arguments = [command, draft.path, "--json"]
    if command == "directions" and rng.random() < 0.5:
        heights = (0.0, 6.0, -draft.length_mm, draft.near(-draft.length_mm), HIGHEST_MM, *NUMBERS[:24])
        arguments += ["--at-height", str(float(rng.choice(heights)))]
    if command == "check" and not draft.quick:
        more = (["--tolerance", rng.choice(("30%", "0.99", "5%"))], ["--choices"], [])
        arguments += rng.choices(more, (0.01, 0.005, 0.985))[0]
    # Pictures and fields take longer than a coarse solve: they are asked for where a refusal is likely.
    if not draft.out and rng.random() < (0.04 if _is_valid(text) else 0.5):
        draft.out = rng.choice((OUT, f"{OUT}/deep/er", "a b ü", "[red]"))
    if draft.out:
        arguments += ["--out", draft.out]
        if rng.random() < 0.25:
            arguments.remove("--json")
    return Mutant(
        seed=seed,
        index=index,
        kinds=tuple(draft.kinds),
        files={CASE_FILE: text, **draft.files},
        arguments=tuple(arguments),
        hurdle=draft.hurdle,
    )


def _written(data: Data) -> bytes:
    return tomli_w.dumps(data).encode("utf-8", errors="surrogatepass")


def _is_valid(text: bytes) -> bool:
    if len(text) > LONG_TEXT:  # may take long to read, which is for the one that is tried to find
        return False
    try:
        Case.from_dict(tomllib.loads(text.decode("utf-8-sig")))
    except Exception:
        return False
    return True


# The case that is mutated ------------------------------------------------------------------------


@cache
def _shipped() -> tuple[str, ...]:
    return tuple(path.read_text(encoding="utf-8") for path in sorted(SHIPPED.glob("*.toml")))


def _base(rng: random.Random, *, quick: bool) -> Data:
    """Return a shipped case, nearly always made small and coarse."""
    data = tomllib.loads(rng.choice(_shipped()))
    share = rng.random()
    if not quick and share < 0.01:
        return data
    data["loads"] = [rng.choice(data["loads"])]
    if not quick and share < 0.06:
        data["numerics"] = {"element_mm": rng.choice((0.5, 0.8, 1.0)), "harmonics": rng.randint(3, 8)}
        return data
    data["numerics"] = {"element_mm": rng.choice((1.0, 1.5, 2.0)), "harmonics": 3}
    if quick:
        data["numerics"]["element_mm"] = 2.0
    if quick or rng.random() < 0.7:
        data["interface"].pop("measured_torque_ncm", None)
    _shorten(data, 3.0 if quick else rng.choice((3.0, 4.0, 5.0)))
    if rng.random() < (0.9 if quick else 0.7):
        # A small block of bone is a small mesh.
        data["bone"]["radius_mm"], data["bone"]["depth_mm"] = 8.0, data["implant"]["length_mm"] + 4.0
    if rng.random() < (0.7 if quick else 0.25):
        data["implant"]["thread"] = {"form": "none"}
    return data


def _shorten(data: Data, length: float) -> None:
    """Make an implant short, its holds with it, and its thread coarse."""
    implant = data["implant"]
    ratio = length / implant["length_mm"]
    implant["length_mm"] = length
    implant["thread"]["pitch_mm"] = 1.25
    if "socket" in data:
        holds = data["socket"]["holds_mm"]
        data["socket"]["holds_mm"] = [[a * ratio, b * ratio] for a, b in holds]


def _leaves(data: Any) -> Iterator[tuple[Any, Any]]:
    """Yield (container, key) of all that is neither table nor list."""
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        if isinstance(value, dict | list):
            yield from _leaves(value)
        else:
            yield data, key


def _tables(data: Data) -> Iterator[Data]:
    yield data
    for value in data.values():
        for item in value if isinstance(value, list) else [value]:
            if isinstance(item, dict):
                yield from _tables(item)


def _keys(draft: Draft) -> list[tuple[Data, str]]:
    """Return (table, key) of every key, tables included."""
    return [(table, key) for table in _tables(draft.data) for key in table]


def _some_key(draft: Draft) -> tuple[Data, str]:
    keys = _keys(draft)
    return draft.rng.choice(keys) if keys else _untitled(draft)


def _leaf(draft: Draft, wanted: type | tuple[type, ...] = object) -> tuple[Any, Any]:
    found = [(c, k) for c, k in _leaves(draft.data) if isinstance(c[k], wanted)]
    return draft.rng.choice(found) if found else _untitled(draft)


def _untitled(draft: Draft) -> tuple[Data, str]:
    draft.data.setdefault("title", "nothing else")
    return draft.data, "title"


# Text --------------------------------------------------------------------------------------------


def edited(name: str, *, valid: bool = False, weight: float = 1.0) -> Callable[[Any], Any]:
    """Add a kind that edits the text: a function of the generator and the text."""

    def add(edit: Callable[[random.Random, bytes], bytes]) -> Callable[[random.Random, bytes], bytes]:
        KINDS[name] = Kind(
            name=name,
            valid=valid,
            weight=weight,
            apply=lambda draft: draft.edits.append(lambda text: edit(draft.rng, text)),
        )
        return edit

    return add


@kind("text: shipped, with its comments", weight=0.5)
def _shipped_text(draft: Draft) -> None:
    """Take the text of a shipped case as it stands, one load of it, coarse; then lose a line."""
    text = draft.rng.choice(_shipped())
    coarse = text.rpartition("[[loads]]")[0] + "\n[numerics]\nelement_mm = 2.0\nharmonics = 3\n"
    lines = coarse.encode().splitlines(keepends=True)
    del lines[draft.rng.randrange(len(lines))]
    if not draft.quick:
        draft.edits.append(lambda _: b"".join(lines))


@edited("text: cut short", weight=2)
def _cut_short(rng: random.Random, text: bytes) -> bytes:
    return text[: rng.randrange(len(text) + 1)]


@edited("text: line lost")
def _line_lost(rng: random.Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True) or [b""]
    del lines[rng.randrange(len(lines))]
    return b"".join(lines)


@edited("text: line doubled")
def _line_doubled(rng: random.Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True) or [b""]
    line = rng.choice(lines)
    lines.insert(rng.randrange(len(lines) + 1), line)
    return b"".join(lines)


@edited("text: lines shuffled")
def _lines_shuffled(rng: random.Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True)
    if rng.random() < 0.5 and len(lines) > 1:
        i, j = rng.sample(range(len(lines)), 2)
        lines[i], lines[j] = lines[j], lines[i]
    else:
        rng.shuffle(lines)
    return b"".join(lines)


@edited("text: bytes changed", weight=2)
def _bytes_changed(rng: random.Random, text: bytes) -> bytes:
    changed = bytearray(text or b" ")
    for _ in range(rng.choice((1, 1, 2, 5, 50))):
        place = rng.randrange(len(changed))
        how = rng.randrange(3)
        if how == 0:
            changed[place] = rng.randrange(256)
        elif how == 1:
            changed.insert(place, rng.choice(b'\x00\x01\x1b\x7f\x80\xff"[]{}=.,#\\\n\r\t -+_eE0'))
        elif len(changed) > 1:
            del changed[place]
    return bytes(changed)


@edited("text: encoding")
def _encoding(rng: random.Random, text: bytes) -> bytes:
    plain = text.decode("utf-8", errors="replace")
    how = rng.choice(
        ("bom", "two boms", "utf-16", "utf-32", "latin-1", "cp037", "nul", "bytes", "empty")
    )
    others = {
        "bom": b"\xef\xbb\xbf" + text,
        "two boms": b"\xef\xbb\xbf" * 2 + text,
        "nul": text + b"\x00",
        "bytes": rng.randbytes(rng.choice((1, 100, 10_000))),
        "empty": rng.choice((b"", b"\n", b" \t\r\n", b"#", b"\xef\xbb\xbf")),
    }
    return others[how] if how in others else plain.encode(how, errors="replace")


@edited("text: line ends", valid=True, weight=0.3)
def _line_ends(rng: random.Random, text: bytes) -> bytes:
    return text.replace(b"\n", rng.choice((b"\r\n", b"\r\n", b"\n\n", b"\r", b" \n", b"\t\n", b"\x0b")))


@edited("text: number changed", weight=3)
def _number_changed(rng: random.Random, text: bytes) -> bytes:
    found = list(TOKEN.finditer(text))
    if not found:
        return text
    place = rng.choice(found)
    others = (
        *(
            b"nan",
            b"+inf",
            b"-inf",
            b"1e308",
            b"1e309",
            b"1e-400",
            b"-0.0",
            b"0x10",
            b"0b1",
            b"0o7",
            b"007",
        ),
        *(
            b"1_000",
            b"1__0",
            b"1,5",
            b"1.",
            b".5",
            b"1e",
            b"--1",
            b"1 mm",
            b"1mm",
            b'"1"',
            b"true",
            b"''",
        ),
        *(
            b"2020-01-01",
            b"12:00:00",
            b"[]",
            b"[1]",
            b"{}",
            b"{a=1}",
            b"[[1, 2]]",
            b"",
            b"NaN",
            b"Infinity",
        ),
        *(
            b"9" * 400,
            b"9" * 4300,
            b"9" * 4301,
            b"-" + b"9" * 10_000,
            b"1." + b"0" * 5000,
            b"1e" + b"9" * 50,
        ),
    )
    scaled = b"%s" % repr(_number(place[0]) * 10.0 ** rng.randint(-12, 12)).encode()
    value = scaled if rng.random() < 0.3 else rng.choice(others)
    return text[: place.start()] + value + text[place.end() :]


def _number(token: bytes) -> float:
    try:
        return float(token)
    except ValueError:
        return 1.0


@edited("text: nested or huge", weight=0.5)
def _nested(rng: random.Random, text: bytes) -> bytes:
    n = rng.choice((50, 900, 5000, 100_000))
    return rng.choice(
        (
            text + b"\nx = " + b"[" * n,
            text + b"\nx = " + b"[" * n + b"]" * n,
            text + b"\nx = " + b"{a=" * n + b"1" + b"}" * n,
            text + b"\n[" + b".".join([b"a"] * n) + b"]\n",
            b".".join([b"a"] * n) + b" = 1\n" + text,
            text + b"\n# " + b"x" * n,
            text + b"\nx = " + b'"' * 3 + b"y\n" * n,
            text + b"\n" * n,
            b" " * n + text,
            b"k%d = 1\n" * 0 + b"".join(b"k%d = 1\n" % i for i in range(n // 10)) + text,
        )
    )


@edited("text: heading changed")
def _heading_changed(rng: random.Random, text: bytes) -> bytes:
    headings = list(re.finditer(rb"^\[+[^\]\n]+\]+", text, re.MULTILINE))
    if not headings:
        return b"[" + text
    place = rng.choice(headings)
    name = place[0].strip(b"[]")
    others = (
        *(
            b"[" + name,
            name + b"]",
            b"[[" + name + b"]]",
            b"[" + name + b"]",
            b"[" + name.upper() + b"]",
        ),
        *(b"[" + name + b".x]", b"[x." + name + b"]", b"[]", b"[[]]", b"", b"[" + name + b"] x", b"# "),
    )
    return text[: place.start()] + rng.choice(others) + text[place.end() :]


# Structure ---------------------------------------------------------------------------------------


@kind("structure: key lost", weight=2)
def _key_lost(draft: Draft) -> None:
    table, key = _some_key(draft)
    table.pop(key, None)


@kind("structure: key renamed", weight=2)
def _key_renamed(draft: Draft) -> None:
    rng = draft.rng
    table, key = _some_key(draft)
    if key not in table:
        return
    how = rng.randrange(6)
    stem, _, unit = key.rpartition("_")
    letters = list(key)
    i = rng.randrange(len(letters))
    if how == 0 and len(letters) > 1:
        j = max(i - 1, 0)
        letters[i], letters[j] = letters[j], letters[i]
    elif how == 1:
        del letters[i]
    elif how == 2:
        letters.insert(i, rng.choice(string.ascii_lowercase + "_-. é\"'\\\n"))
    elif how == 3 and stem:
        letters = list(f"{stem}_{rng.choice((*WRONG_UNITS, unit))}")
    elif how == 4:
        letters = list(key.upper())
    else:
        letters = list(rng.choice(("", "x", "name", "__class__", "model_config", "self", *TEXTS[:20])))
    table["".join(letters)] = table.pop(key)


@kind("structure: key moved or doubled")
def _key_moved(draft: Draft) -> None:
    table, key = _some_key(draft)
    if key not in table:
        return
    value = table[key] if draft.rng.random() < 0.5 else table.pop(key)
    draft.rng.choice(list(_tables(draft.data)))[key] = copy.deepcopy(value)


@kind("structure: type swapped", weight=2)
def _type_swapped(draft: Draft) -> None:
    table, key = _leaf(draft) if draft.rng.random() < 0.6 else _some_key(draft)
    if isinstance(table, dict) and key not in table:
        return
    table[key] = draft.rng.choice(_other_types(copy.deepcopy(table[key])))


def _other_types(value: Any) -> tuple[Any, ...]:
    shown = str(value)[:100]
    return (
        *(shown, [value], [[value]], [], {}, {"value": value}, {"": value}, True, False, 0, 1.5, ""),
        *(dt.date(2020, 1, 1), dt.time(12, 0), dt.datetime(2020, 1, 1)),
        *([value, value], [value, "x", {}], [{}], [[]], [[[]]], "none", "null", math.nan),
    )


@kind("structure: array of another shape")
def _array_shape(draft: Draft) -> None:
    rng = draft.rng
    section, key = rng.choice(
        (
            *(("socket", "holds_mm"), ("bone", "trabecular_modulus_mpa"), ("threshold", "bands_um")),
            *(("implant", "outline_mm"), ("", "loads"), ("interface", "friction"), ("loads", "name")),
        )
    )
    value = rng.choice(
        (
            *([], [[]], [[], []], [0.0, 1.0], [[0.0]], [[0.0, 1.0, 2.0]], [[0.0, [1.0]]], [[0.0, "1"]]),
            *(
                [{}],
                [{"top": 0.0}],
                "0-4",
                [[math.nan, 1.0]],
                [[0.0, math.inf]],
                [["a", "b"]],
                [[True, 2.0]],
            ),
            *(
                [[0.0, 100.0], 5.0],
                [1.0, [0.0, 1.0]],
                [[2.0, 1.0]],
                [[0.0, 1.0]] * 3,
                [[-1.0, 1.0]],
                [[0, 1]],
            ),
            *(
                [[10**400, 1]],
                [50, 50],
                [100, 50],
                [-1.0],
                [0.0],
                [1e308],
                [0.0, 10**309],
                [[1e308, 1e308]],
            ),
        )
    )
    draft.section(section)[key] = copy.deepcopy(value)


@kind("structure: number replaced", weight=3)
def _number_replaced(draft: Draft) -> None:
    table, key = _leaf(draft, (int, float))
    table[key] = draft.rng.choice(NUMBERS)


@kind("structure: number scaled", weight=1.5)
def _number_scaled(draft: Draft) -> None:
    table, key = _leaf(draft, (int, float))
    if isinstance(table, dict) and key not in table:  # no number is left, and no title either
        return
    value = table[key]
    if not isinstance(value, int | float) or isinstance(value, bool):
        return
    factor = draft.rng.choice((-1.0, *(10.0**k for k in (-9, -6, -3, -2, -1, 1, 2, 3, 6))))
    if (key, factor < 1) == ("element_mm", True):
        factor = 1.5
    table[key] = value * factor if abs(value) < 1e300 else factor


@kind("structure: table or list replaced")
def _section_replaced(draft: Draft) -> None:
    name = draft.rng.choice([*(s for s in SECTIONS if s), "loads"])
    parent, _, key = name.rpartition(".")
    value = draft.data.get(key)
    others = (None, 1, "x", True, [], {}, [1], [{}], {"x": {}}, [value] if value else 0, [[value or 0]])
    other = draft.rng.choice(others)
    table = draft.section(parent)
    if other is None:
        table.pop(key, None)
    else:
        table[key] = copy.deepcopy(other)


@kind("structure: contradiction", weight=2)
def _contradiction(draft: Draft) -> None:
    """State two things that exclude each other."""
    section, values = draft.rng.choice(
        (
            ("implant", {"material": "titanium", "modulus_mpa": 1e5, "poisson": 0.3}),
            ("implant", {"modulus_mpa": 1e5}),
            ("implant", {"poisson": 0.3}),
            ("implant", {"outline_mm": [[2.0, 0.0], [2.0, -4.0]]}),
            ("implant", {"outline_csv": OUTLINE_FILE}),
            ("implant", {"outline_csv": OUTLINE_FILE, "outline_mm": [[2.0, 0.0], [2.0, -4.0]]}),
            ("implant", {"abutment_diameter_mm": 50.0}),
            ("implant.thread", {"form": "none", "pitch_mm": 1.0}),
            ("implant.thread", {"form": "square", "flank_angle_deg": 10.0}),
            ("implant.thread", {"form": "square", "crest_flat_mm": 0.0}),
            ("implant.thread", {"form": "v", "flank_angle_deg": 74.0}),
            ("implant.thread", {"start_mm": 100.0}),
            ("implant.thread", {"depth_mm": 3.0}),
            ("bone", {"density": 0.5, "ct_number": 300.0}),
            ("bone", {"density_law": "carter_hayes_1977", "trabecular_modulus_mpa": 300.0}),
            ("bone", {"radius_mm": 1.0}),
            ("bone", {"depth_mm": 1.0}),
            ("socket", {"gap_fill": "clot", "gap_modulus_mpa": 3.0}),
            ("socket", {"holds_mm": [[0.0, 2.0], [1.0, 3.0]]}),
            ("socket", {"holds_mm": [[2.0, 3.0], [0.0, 1.0]]}),
            ("interface", {"kind": "bonded", "friction": 0.4}),
            ("interface", {"kind": "bonded", "measured_torque_ncm": 30.0}),
            ("interface", {"measured_torque_ncm": 30.0, "interference_um": 5.0}),
            ("interface", {"measured_torque_ncm": 30.0, "cutting_torque_ncm": 30.0}),
            ("interface", {"measured_torque_ncm": 30.0, "friction": 0}),
            ("loads", {"axial_n": 10.0, "force_n": 10.0, "angle_deg": 10.0}),
            ("loads", {"force_n": 10.0}),
            ("loads", {"angle_deg": 10.0}),
            ("loads", {"axial_n": 0.0, "lateral_n": 0.0, "torque_ncm": 0.0}),
            ("threshold", {"bands_um": [100.0, 50.0]}),
            ("threshold", {"bands_um": []}),
        )
    )
    draft.section(section).update(copy.deepcopy(values))


@kind("structure: nothing but a section")
def _bare(draft: Draft) -> None:
    names = list(draft.data)
    for name in draft.rng.sample(names, draft.rng.randint(0, len(names))):
        del draft.data[name]


@kind("structure: huge array", weight=0.5)
def _huge_array(draft: Draft) -> None:
    rng = draft.rng
    n = rng.choice((300, 999, 1001, 3000, 20_000))
    length = draft.length_mm
    how = rng.randrange(6)
    if how == 0:
        steps = [i * length / n for i in range(n)]
        draft.section("bone")["trabecular_modulus_mpa"] = [[depth, 100.0 + depth] for depth in steps]
    elif how == 1:
        draft.section("socket")["holds_mm"] = [[i * 0.3, i * 0.3 + 0.25] for i in range(n)]
    elif how == 2:
        draft.section("threshold")["bands_um"] = [float(i + 1) for i in range(n)]
    elif how == 3:
        # Refused, at its last load: this many valid ones would only take long.
        loads = [{"name": f"load {i}", "axial_n": 10.0} for i in range(n)]
        draft.data["loads"] = [*loads, {"name": "load 0", "axial_n": 1.0}]
    elif how == 4:
        _take_outline(draft, [(2.0, 0.0), *((2.0 + 1e-3 * (i % 2), -(i + 1) * 1e-4) for i in range(n))])
    else:
        # A comb: every tooth shares its depths with every other.
        teeth = [(2.0 - 1.9 * i / n, -1.0 if i % 2 else -3.0) for i in range(n)]
        _take_outline(draft, [(2.0, 0.0), *teeth, (0.05, -4.0)])


# At the limits -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Limit:
    """An end of the range of a key."""

    section: str
    key: str
    end: str
    value: float
    whole: bool


@cache
def limits() -> tuple[Limit, ...]:
    """Return every limit that the sections state for a number."""
    found = []
    for section, model in SECTIONS.items():
        for key, info in model.model_fields.items():
            stated = [*info.metadata, *_inner_metadata(info.annotation)]
            whole = info.annotation is int
            for item in stated:
                for end, sort, name in (
                    ("lower", annotated_types.Gt, "gt"),
                    ("lower", annotated_types.Ge, "ge"),
                    ("upper", annotated_types.Lt, "lt"),
                    ("upper", annotated_types.Le, "le"),
                ):
                    if isinstance(item, sort):
                        value = float(getattr(item, name))
                        found.append(Limit(section=section, key=key, end=end, value=value, whole=whole))
    return tuple(found)


def _inner_metadata(annotation: Any) -> Iterator[Any]:
    """Yield what an optional number states of itself; lists are left out."""
    if annotation is None or any(arg is Ellipsis for arg in get_args(annotation)):
        return
    for arg in get_args(annotation):
        yield from getattr(arg, "metadata", ())
        yield from _inner_metadata(arg)
        if isinstance(arg, annotated_types.BaseMetadata):
            yield arg


COMPANIONS: dict[tuple[str, str], tuple[Data, tuple[str, ...]]] = {
    ("implant", "modulus_mpa"): ({"poisson": 0.3}, ("material",)),
    ("implant", "poisson"): ({"modulus_mpa": 1e5}, ("material",)),
    ("bone", "ct_number"): ({}, ("density", "trabecular_modulus_mpa")),
    ("bone", "density"): ({}, ("ct_number", "trabecular_modulus_mpa")),
    ("bone", "trabecular_modulus_mpa"): ({}, ("ct_number", "density", "density_law")),
    ("socket", "gap_modulus_mpa"): ({}, ("gap_fill",)),
    ("interface", "interference_um"): ({}, ("measured_torque_ncm", "cutting_torque_ncm")),
    ("interface", "measured_torque_ncm"): ({}, ("interference_um",)),
    ("interface", "kind"): ({}, ("interference_um", "friction", "measured_torque_ncm")),
    ("loads", "force_n"): ({"angle_deg": 20.0}, ("axial_n", "lateral_n")),
    ("loads", "angle_deg"): ({"force_n": 40.0}, ("axial_n", "lateral_n")),
    ("loads", "axial_n"): ({}, ("force_n", "angle_deg")),
    ("loads", "lateral_n"): ({}, ("force_n", "angle_deg")),
    ("implant.thread", "form"): ({}, ("flank_angle_deg",)),
}
"""What a key needs beside it, and what it excludes."""


def _state(draft: Draft, section: str, **values: Any) -> None:
    """Set keys of a section, with what each needs and without what it excludes."""
    table = draft.section(section)
    for key, value in values.items():
        needs, excluded = COMPANIONS.get((section, key), ({}, ()))
        for other in excluded:
            table.pop(other, None)
        for other, given in needs.items():
            table.setdefault(other, given)
        table[key] = value


@kind("at a limit", valid=True, weight=6)
def _at_a_limit(draft: Draft) -> None:
    rng = draft.rng
    limit = rng.choice(limits())
    costly = (limit.section, limit.key, limit.end) in COSTLY
    if costly and (draft.quick or rng.random() > 0.15):
        limit = next(x for x in limits() if (x.section, x.key) == ("interface", "friction"))
    inwards = 1.0 if limit.end == "lower" else -1.0
    value: float = limit.value
    if limit.whole:
        value = int(value + rng.choice((-inwards, 0.0, inwards)))
    else:
        size = abs(value) or 1.0
        off = rng.choice((0.0, 1e-300, 1e-15, 1e-12, 1e-9, 1e-6, 1e-3)) * size
        # Just beyond, once in three times.
        value += off * inwards * rng.choice((1.0, 1.0, -1.0))
        if rng.random() < 0.2:
            value = math.nextafter(limit.value, limit.value + inwards * rng.choice((1.0, -1.0)))
    _state(draft, limit.section, **{limit.key: value})


# Geometry, near-degenerate but valid -------------------------------------------------------------


@kind("geometry: holds end near corners", valid=True, weight=4)
def _holds_near_corners(draft: Draft) -> None:
    rng, length = draft.rng, draft.length_mm
    corners = draft.corners()
    ends = sorted(
        min(max(draft.near(rng.choice(corners)), 0.0), length) for _ in range(2 * rng.randint(1, 3))
    )
    holds = [[a, b] for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a >= LEAST_HOLD_MM]
    draft.section("socket")["holds_mm"] = holds or [[0.0, length]]
    _some_gap(draft)


def _some_gap(draft: Draft) -> None:
    rng = draft.rng
    if rng.random() < 0.5:
        _state(draft, "socket", gap_modulus_mpa=rng.choice((LEAST_MODULUS_MPA, 1.0, 1e3)))
    else:
        socket = draft.section("socket")
        socket.pop("gap_modulus_mpa", None)
        socket["gap_fill"] = rng.choice(("empty", "clot", "graft"))
    if rng.random() < 0.5:
        width = rng.choice((LEAST_LENGTH_MM, LEAST_LENGTH_MM + 1e-9, 0.3, 1.0, 3.0, draft.near(0.5)))
        draft.section("socket")["gap_width_mm"] = width


@kind("geometry: holds of all sorts", valid=True, weight=3)
def _odd_holds(draft: Draft) -> None:
    rng, length = draft.rng, draft.length_mm
    ends = sorted(
        round(rng.uniform(0, length), rng.choice((1, 2, 6))) for _ in range(2 * rng.randint(1, 5))
    )
    several = [[a, b] for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a >= LEAST_HOLD_MM]
    middle = rng.uniform(LEAST_HOLD_MM, max(length - LEAST_HOLD_MM, 2 * LEAST_HOLD_MM))
    draft.section("socket")["holds_mm"] = rng.choice(
        (
            several or [[0.0, length]],
            several or [[0.0, length]],
            [[0.0, LEAST_HOLD_MM]],
            [[length - LEAST_HOLD_MM, length]],
            [[middle, middle + LEAST_HOLD_MM]],
            [[0.0, middle], [middle, length]],
            [[0.0, middle], [middle + rng.choice(TINY), length]],
            [[0.0, length - rng.choice(TINY)]],
            [[rng.choice(TINY), length]],
            [[i * 0.25, i * 0.25 + LEAST_HOLD_MM] for i in range(int(length / 0.25))],
        )
    )
    _some_gap(draft)


@kind("geometry: cortex ends near a corner", valid=True, weight=2)
def _cortex_near_a_corner(draft: Draft) -> None:
    rng = draft.rng
    block = draft.number("bone", "depth_mm", draft.length_mm + 5.0)
    level = rng.choice((*draft.corners(), draft.length_mm, block, 0.0))
    thickness = rng.choice((draft.near(level), draft.near(level), 1e-9, 1e-3, 2 * block))
    draft.section("bone")["cortical_thickness_mm"] = max(thickness, 0.0)


@kind("geometry: thread just fits", valid=True, weight=4)
def _tight_thread(draft: Draft) -> None:
    rng = draft.rng
    thread: Data = {"form": rng.choice(("v", "square", "trapezoid", "buttress"))}
    thread["depth_mm"] = depth = rng.choice((LEAST_LENGTH_MM, 0.1, 0.35, 0.8))
    thread["crest_flat_mm"] = flat = rng.choice((0.0, 1e-9, 1e-6, 1e-3, 0.1, 0.5))
    if thread["form"] == "square":
        thread["crest_flat_mm"] = flat = max(flat, rng.choice((1e-9, 0.01)))
        angles = (0.0, 0.0)
    else:
        thread["flank_angle_deg"] = angle = rng.choice((0.0, 1e-6, 15.0, 30.0, 60.0, 74.999))
        angles = (angle, 45.0 if thread["form"] == "buttress" else angle)
    flanks = depth * sum(math.tan(math.radians(a)) for a in angles)
    needed, room = flat + flanks, draft.length_mm - flat
    least = 0.5 if not draft.quick else 1.0  # a thread far finer than the mesh would only take long
    pitch = rng.choice(
        (needed + rng.choice(TINY), needed * 1.01, room - rng.choice(TINY), room / 2, 1.2)
    )
    thread["pitch_mm"] = pitch if pitch > least or needed > least else least
    if rng.random() < 0.4:
        left = max(draft.length_mm - thread["pitch_mm"], 0.0)
        thread["start_mm"] = max(rng.choice((left - rng.choice(TINY), left / 2, 1e-9)), 0.0)
    draft.section("implant")["thread"] = thread


@kind("geometry: thread of very many turns", valid=True, weight=0.7)
def _fine_thread(draft: Draft) -> None:
    """Give a thread without flanks a pitch that nothing but its crest bounds."""
    rng = draft.rng
    pitch = rng.choice((1e-12, 1e-6, 1e-3, 0.02, 0.1, LEAST_LENGTH_MM, 0.3))
    if draft.quick:
        pitch = min(pitch, 1e-3)
    flat = pitch * rng.choice((0.01, 0.5, 1.0))
    thread: Data = {"form": "square", "pitch_mm": pitch, "depth_mm": LEAST_LENGTH_MM}
    if rng.random() < 0.5:
        thread |= {"form": "v", "flank_angle_deg": rng.choice((0.0, 1e-9))}
    draft.section("implant")["thread"] = {**thread, "crest_flat_mm": flat}


@kind("geometry: taper leaves hardly a core", valid=True, weight=2)
def _sharp_taper(draft: Draft) -> None:
    rng = draft.rng
    implant = draft.section("implant")
    thread = draft.section("implant.thread")
    depth = 0.0 if thread.get("form") == "none" else draft.number("implant.thread", "depth_mm", 0.35)
    left = LEAST_CORE_RADIUS_MM + depth + rng.choice(TINY)
    if rng.random() < 0.7:
        room = max(draft.number("implant", "diameter_mm", 4.0) / 2 - left, 0.0)
        implant["taper_deg"] = math.degrees(math.atan(room / max(draft.length_mm, 0.1)))
    else:
        implant["taper_deg"] = 0.0
        implant["diameter_mm"] = 2 * left
        implant.pop("abutment_diameter_mm", None)


def _take_outline(draft: Draft, points: list[tuple[float, float]]) -> None:
    """Give the implant an outline in place of its sizes, and holds and bone that suit it."""
    implant = draft.section("implant")
    for key in ("diameter_mm", "length_mm", "taper_deg", "thread", "abutment_diameter_mm"):
        implant.pop(key, None)
    implant["outline_mm"] = [list(point) for point in points]
    draft.section("socket").pop("holds_mm", None)
    for key in ("depth_mm", "radius_mm"):
        draft.section("bone").pop(key, None)


def _outline(rng: random.Random, near: Callable[[float], float]) -> list[tuple[float, float]]:
    """Return the points of an odd outline, most of them sound."""
    tiny = rng.choice(TINY[1:])
    turns = [i * math.pi / 40 for i in range(1, 20)]
    depths = sorted({round(rng.uniform(0.1, 5.0), 3) for _ in range(rng.randint(2, 9))})
    return rng.choice(
        (
            [(2.0, 0.0), (2.0, -4.0)],
            [(2.0, 0.0), (0.0, -4.0)],
            [(2.0, 0.0), (tiny, -4.0)],
            [(2.0, 0.0), (2.0, -tiny), (2.0, -4.0)],
            [(2.0, 0.0), (2.0 + tiny, -2.0), (2.0, -4.0)],
            [(2.0, 0.0), (1.0, -2.0), (1.0 + tiny, -2.0), (1.0, -4.0)],
            # A slot that is nearly closed, and an undercut that nearly meets the crest or itself.
            [(2.0, 0.0), (2.0, -2.0), (1.0, -2.0), (1.0, -2.0 - tiny), (2.0, -2.0 - tiny), (2.0, -4.0)],
            [(2.0, 0.0), (1.0, -2.0), (2.0, -tiny), (2.5, -3.0), (1.0, -4.0)],
            [(1.5, 0.0), (1.5, -1.0), (2.5, -1.0), (2.5, -2.0), (1.5, -1.0 - tiny), (1.5, -4.0)],
            [(2.0, 0.0), (tiny, -2.0), (2.0, -4.0)],
            [(2.0, 0.0), (0.25, -2.0), (0.25, -2.1), (2.0, -4.0)],
            [(2.0, 0.0), (3.0, -4.0), (1.0, near(-4.0)), (1.0, -4.0 - 2 * SNAP_MM)],
            [(2.0, 0.0), *((2.0 * math.cos(t), -4.0 * math.sin(t)) for t in turns), (0.0, -4.0)],
            [(2.0, 0.0), (2.0, -1.0), (1.5, -1.0), (1.5, -3.0), (2.0, -3.0), (2.0, -4.0)],
            [(tiny, 0.0), (2.0, -1.0), (2.0, -4.0)],
            [(5.0, 0.0), (5.0, -0.1)],
            [(2.0, 0.0), *((round(rng.uniform(0.3, 2.5), 3), -depth) for depth in depths)],
            [(2.0, 0.0), *((round(rng.uniform(0.3, 2.5), 3), -depth) for depth in depths)],
        )
    )


@kind("geometry: outline of an odd shape", valid=True, weight=4)
def _odd_outline(draft: Draft) -> None:
    _take_outline(draft, _outline(draft.rng, draft.near))


@kind("geometry: outline in a file", valid=True, weight=1)
def _outline_in_a_file(draft: Draft) -> None:
    rng = draft.rng
    points = _outline(rng, draft.near)
    _take_outline(draft, points)
    implant = draft.section("implant")
    del implant["outline_mm"]
    implant["outline_csv"] = OUTLINE_FILE
    lines = [f"{r!r},{z!r}\n" for r, z in points]
    text = "r_mm,z_mm\n" + "".join(lines)
    if rng.random() < 0.5:
        text = rng.choice(
            (
                *(
                    text.replace("\n", "\r\n"),
                    "\ufeff" + text,
                    text.replace(",", ", "),
                    text + "\n\n",
                    text,
                ),
                *(
                    "".join(lines),
                    text.replace(",", ";"),
                    text + "1\n",
                    text + "a,b\n",
                    text + "nan,inf\n",
                ),
                *(
                    text + '"1,2\n',
                    "",
                    "r_mm,z_mm\n",
                    text + "1,2,3\n",
                    text + "1e400,-9\n",
                    text + "\x00",
                ),
                *("R_MM,Z_MM\n" + "".join(lines), text * 2, text + "9" * 200_000 + ",-9\n"),
            )
        )
    if rng.random() < 0.1:
        implant["outline_csv"] = rng.choice(("none.csv", ".", "", "/", "\x00", CASE_FILE, "x" * 5000))
    draft.files[OUTLINE_FILE] = text.encode()


@kind("geometry: block just large enough", valid=True, weight=2)
def _tight_block(draft: Draft) -> None:
    rng = draft.rng
    gap = draft.number("socket", "gap_width_mm", 0.5)
    beside = draft.number("implant", "diameter_mm", 4.0) / 2 + LEAST_BONE_BESIDE_MM
    below = draft.length_mm + LEAST_BONE_BELOW_MM
    bone = draft.section("bone")
    bone["radius_mm"] = draft.near(beside + rng.choice((0.0, gap)))
    bone["depth_mm"] = rng.choice((draft.near(below + rng.choice((0.0, gap))), below + 5.0))
    bone["support"] = rng.choice(("all_round", "base"))


@kind("geometry: sizes of all sorts", valid=True, weight=3)
def _odd_sizes(draft: Draft) -> None:
    rng = draft.rng
    implant = draft.section("implant")
    how = rng.randrange(7)
    if how == 0:
        implant["thread"] = {"form": "none"}
        implant["diameter_mm"] = rng.choice(
            (2 * LEAST_CORE_RADIUS_MM, 0.6, 20.0, 80.0, LARGEST_LENGTH_MM)
        )
    elif how == 1:
        implant["thread"] = {"form": "none"}
        length = rng.choice((1e-9, 1e-3, LEAST_LENGTH_MM, LEAST_HOLD_MM, 0.5, 40.0))
        implant["length_mm"] = length
        draft.section("socket").pop("holds_mm", None)
    elif how == 2:
        implant["abutment_diameter_mm"] = rng.choice((1e-9, 1e-3, 0.05, 0.3, 1.0))
    elif how == 3:
        heights = (LEAST_LENGTH_MM, 0.1, 60.0, 500.0, 1e4, 1e9, 1e15, 1e308)
        implant["abutment_height_mm"] = rng.choice(heights)
    elif how == 4:
        draft.section("loads")["height_mm"] = rng.choice((0.0, 1e-12, 0.05, 30.0, 50.0))
    elif how == 5:
        draft.section("bone")["radius_mm"] = rng.choice((30.0, 100.0, LARGEST_LENGTH_MM))
    else:
        draft.section("bone")["depth_mm"] = rng.choice((50.0, 200.0, LARGEST_LENGTH_MM))


# Physics, extreme but valid ----------------------------------------------------------------------


@kind("physics: friction", valid=True, weight=2)
def _friction(draft: Draft) -> None:
    draft.section("interface").pop("measured_torque_ncm", None)
    draft.section("interface")["friction"] = draft.rng.choice((0, 0.0, 1e-12, 1e-6, 0.01, 1.0, 2, 2.0))


@kind("physics: interference", valid=True, weight=2)
def _interference(draft: Draft) -> None:
    values = (0.0, 1e-12, 1e-6, 0.01, 1.0, 100.0, LARGEST_INTERFERENCE_UM)
    _state(draft, "interface", interference_um=draft.rng.choice(values))
    if draft.rng.random() < 0.5:
        draft.section("interface")["retained_pressure"] = draft.rng.choice((0.0, 1e-12, 1e-3, 0.5, 1.0))


@kind("physics: glued", valid=True, weight=2)
def _glued(draft: Draft) -> None:
    face = draft.section("interface")
    face.pop("retained_pressure", None)
    face.pop("cutting_torque_ncm", None)
    _state(draft, "interface", kind="bonded")


@kind("physics: moduli", valid=True, weight=4)
def _moduli(draft: Draft) -> None:
    rng = draft.rng
    values = (LEAST_MODULUS_MPA, 0.1, 1.0, 30.0, 1e3, 1e5, LARGEST_MODULUS_MPA)
    how = rng.randrange(5)
    if how == 0:
        keyed = {(x.section, x.key, x.end): x.value for x in limits()}
        least = keyed["implant", "modulus_mpa", "lower"]
        modulus = max(rng.choice(values), least)
        _state(draft, "implant", modulus_mpa=modulus, poisson=rng.choice((0.0, 0.3, 0.495)))
    elif how == 1:
        draft.section("bone")["cortical_modulus_mpa"] = rng.choice(values)
    elif how == 2:
        _state(draft, "bone", trabecular_modulus_mpa=rng.choice(values))
    elif how == 3:
        _state(draft, "socket", gap_modulus_mpa=rng.choice(values))
        length = draft.length_mm
        draft.section("socket")["holds_mm"] = [[0.0, length / 3], [2 * length / 3, length]]
    else:
        draft.section("bone")["cortical_modulus_mpa"] = rng.choice(values)
        _state(draft, "bone", trabecular_modulus_mpa=rng.choice(values))


@kind("physics: modulus that varies", valid=True)
def _profile(draft: Draft) -> None:
    rng = draft.rng
    low, high = LEAST_MODULUS_MPA, LARGEST_MODULUS_MPA
    length = draft.length_mm
    _state(
        draft,
        "bone",
        trabecular_modulus_mpa=rng.choice(
            (
                [[0.0, low], [length, high]],
                [[0.0, high], [length, low]],
                [[length / 2, low], [length / 2 + 1e-9, high]],
                [[1e6, 100.0]],
                [[1e300, 100.0], [1.7e308, 200.0]],
                [[5e-324, 100.0], [1e-308, 200.0]],
                [[i * length / 40, 100.0 + 90.0 * (-1) ** i] for i in range(40)],
            )
        ),
    )


@kind("physics: density or CT number", valid=True)
def _density(draft: Draft) -> None:
    rng = draft.rng
    if rng.random() < 0.5:
        _state(draft, "bone", density=rng.choice((1e-9, 0.01, 0.02, 0.1, 0.5, 1.5, 2.5)))
    else:
        _state(draft, "bone", ct_number=rng.choice((-100, -99.9, 0, 100, 1200, 2500)))
    if rng.random() < 0.7:
        laws = get_args(get_args(SECTIONS["bone"].model_fields["density_law"].annotation)[0])
        draft.section("bone")["density_law"] = rng.choice(laws)


@kind("physics: Poisson's ratio", valid=True, weight=2)
def _poisson(draft: Draft) -> None:
    draft.section("bone")["poisson"] = draft.rng.choice((0.0, 0, 1e-12, 0.45, 0.49, 0.495))


@kind("physics: layer", valid=True, weight=3)
def _layer(draft: Draft) -> None:
    rng = draft.rng
    face = draft.section("interface")
    face["layer_thickness_mm"] = rng.choice((0, 0.0, 1e-300, 1e-12, 1e-6, 1e-3, 0.002, 0.1, 1.0))
    if rng.random() < 0.6:
        face["layer_modulus_ratio"] = rng.choice((5e-324, 1e-12, 1e-6, 1e-3, 0.5, 1.0))


@kind("physics: crushing", valid=True, weight=2)
def _crushing(draft: Draft) -> None:
    draft.section("bone")["crush_strain"] = draft.rng.choice(
        (5e-324, 1e-300, 1e-12, 1e-6, 1e-4, 0.02, 0.1)
    )
    if draft.rng.random() < 0.6:
        _state(draft, "interface", interference_um=draft.rng.choice((1.0, 20.0, 100.0, 500.0)))


@kind("physics: size of the load", valid=True, weight=4)
def _load_size(draft: Draft) -> None:
    rng = draft.rng
    sizes = (
        *(LEAST_LOAD, LEAST_LOAD * (1 + 1e-12), LEAST_LOAD * (1 - 1e-12), 0.01, 1.0, 1e3, LARGEST_LOAD),
        *(LARGEST_LOAD * (1 + 1e-12), LARGEST_LOAD * (1 - 1e-12), 1e6),
    )
    size = rng.choice(sizes) * rng.choice((1, -1))
    how = rng.randrange(4)
    if how == 0:
        _state(draft, "loads", force_n=abs(size), angle_deg=rng.choice((0, 1e-12, 15, 45, 90, 120, 180)))
    else:
        name = ("axial_n", "lateral_n", "torque_ncm")[how - 1]
        _only_component(draft, name, size)


def _only_component(draft: Draft, name: str, size: float) -> None:
    load = draft.section("loads")
    for key in ("force_n", "angle_deg", "axial_n", "lateral_n", "torque_ncm"):
        load.pop(key, None)
    load[name] = size


@kind("physics: load of another sort", valid=True, weight=3)
def _load_kind(draft: Draft) -> None:
    rng = draft.rng
    _only_component(draft, "axial_n", 0.0)
    draft.section("loads").update(
        rng.choice(
            (
                {"torque_ncm": 5.0},
                {"torque_ncm": -20.0},
                {"axial_n": -20.0},
                {"axial_n": -200.0, "lateral_n": 20.0},
                {"lateral_n": -20.0},
                {"axial_n": 50.0, "lateral_n": 20.0, "torque_ncm": 5.0},
                {"axial_n": 100.0, "lateral_n": 1e-9},
                {"axial_n": 1e-300, "lateral_n": 10.0},
                {"axial_n": 30.0, "torque_ncm": 1e-15},
            )
        )
    )


@kind("physics: torque that was read", valid=True, weight=1.5)
def _torque_read(draft: Draft) -> None:
    rng = draft.rng
    torque = rng.choice((5e-324, 1e-9, 1e-3, 0.1, 5.0, 30.0, 300.0, 1e9, 1e308))
    _state(draft, "interface", measured_torque_ncm=torque)
    if rng.random() < 0.3:
        draft.section("interface")["cutting_torque_ncm"] = torque * rng.choice(
            (0.0, 0.5, 1 - 1e-9, 1 - 1e-15)
        )


@kind("physics: support and numerics", valid=True)
def _numerics(draft: Draft) -> None:
    rng = draft.rng
    draft.section("bone")["support"] = rng.choice(("all_round", "base"))
    numerics = draft.section("numerics")
    numerics["harmonics"] = 3 if draft.quick else rng.choice((3, 4, 5, 9))
    numerics["element_mm"] = rng.choice((1.0, 1.9, 2, 2.0))


@kind("words: bands", valid=True, weight=0.5)
def _bands(draft: Draft) -> None:
    values = (
        [5e-324],
        [1e-9, 1e-8],
        [50.0],
        [1e308],
        [50, 50 + 1e-12],
        [1.0, 1e300],
        [0.1 + 0.2, 0.3001],
    )
    draft.section("threshold")["bands_um"] = list(draft.rng.choice(values))


@kind("words: names and title", valid=True, weight=1.5)
def _names(draft: Draft) -> None:
    rng = draft.rng
    draft.section("loads")["name"] = rng.choice(TEXTS)
    if rng.random() < 0.5:
        draft.data["title"] = rng.choice(TEXTS)


@kind("words: several loads", valid=True, weight=0.5)
def _several_loads(draft: Draft) -> None:
    rng = draft.rng
    loads = [copy.deepcopy(draft.section("loads")) for _ in range(rng.randint(2, 3))]
    for i, load in enumerate(loads):
        load["name"] = rng.choice((f"load {i}", f"load {i}", "load", "LOAD", "load!", "Ω" * (i + 1)))
    draft.data["loads"] = loads


# Writing and paths -------------------------------------------------------------------------------


@kind("writing: the disk is full", weight=0.4)
def _disk_full(draft: Draft) -> None:
    draft.out, draft.hurdle = OUT, "disk full"


@kind("writing: stdout is full", weight=0.4)
def _stdout_full(draft: Draft) -> None:
    draft.hurdle = "stdout full"


@kind("writing: the folder is taken", weight=0.5)
def _folder_taken(draft: Draft) -> None:
    draft.out = draft.rng.choice(
        (OUT, f"{OUT}/letter.txt", f"{OUT}/letter.txt/x", "x" * 300, "\x01", "/dev/null")
    )
    draft.files[f"{OUT}/letter.txt"] = b"mine\n"


@kind("path: of the case", weight=0.4)
def _path(draft: Draft) -> None:
    draft.path = draft.rng.choice(
        ("none.toml", ".", "..", "/dev/null", "x" * 300, "[bold]", "a\nb", "é/ü")
    )
