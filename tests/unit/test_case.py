"""A case has the contents of its file, fills defaults, and refuses impossible values in one message."""

from __future__ import annotations

import copy
import math
import re
from pathlib import Path
from typing import Any

import pytest

from stillroot.errors import (
    CaseError,
    EnvironmentProblem,
    MeshError,
    NotConverged,
    OutputError,
    StillrootError,
)
from stillroot.inputs import materials
from stillroot.inputs.case import Case, read_case, resolved_toml
from stillroot.inputs.case_reference import case_reference_markdown

DOCS = Path(__file__).parents[2] / "docs"
SHIPPED = sorted((DOCS / "cases").glob("*.toml"))

SMALLEST = """
title = "smallest"
[implant]
diameter_mm = 4.0
length_mm = 10
[bone]
cortical_thickness_mm = 1.5
trabecular_modulus_mpa = 500
[[loads]]
name = "lateral"
lateral_n = 20
"""

OUTLINED = """
title = "outlined"
[implant]
outline_csv = "outline.csv"
[bone]
cortical_thickness_mm = 0
density = 0.5
[[loads]]
name = "pressing in"
force_n = 100
angle_deg = 0
"""

OUTLINE = "r_mm,z_mm\n2.0,0\n2.2,-1\n1.8,-9\n0,-11\n"


def smallest(**changes: Any) -> dict[str, Any]:
    """Return the smallest case with dotted keys ("bone__poisson") changed or, with None, removed."""
    data: dict[str, Any] = {
        "title": "smallest",
        "implant": {"diameter_mm": 4.0, "length_mm": 10.0},
        "bone": {"cortical_thickness_mm": 1.5, "trabecular_modulus_mpa": 500.0},
        "loads": [{"name": "lateral", "lateral_n": 20.0}],
    }
    for path, value in changes.items():
        *sections, key = path.split("__")
        table = data
        for section in sections:
            table = table.setdefault(section, {})
        table[key] = value
        if value is None:
            del table[key]
    return data


def write(folder: Path, text: str, outline: str | None = None) -> Path:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    if outline is not None:
        (folder / "outline.csv").write_text(outline, encoding="utf-8")
    return path


def refusal(data: dict[str, Any]) -> str:
    with pytest.raises(CaseError) as caught:
        Case.from_dict(data)
    return str(caught.value)


# ---- defaults ----------------------------------------------------------------------------------


def test_an_implant_bears_on_its_whole_length_unless_said_otherwise() -> None:
    assert Case.from_dict(smallest()).socket.holds_mm == ((0.0, 10.0),)


def test_defaults_follow_the_implant() -> None:
    case = Case.from_dict(smallest(implant__abutment_height_mm=4.5))
    assert case.loads[0].height_mm == 4.5
    assert case.implant.abutment_diameter_mm == 4.0


def test_bone_goes_as_far_beside_the_implant_as_below_it_unless_it_is_a_block() -> None:
    data = smallest(implant__diameter_mm=4.0, implant__length_mm=10.0, numerics__far_mm=30.0)
    assert Case.from_dict(data).block_mm == (32.0, 40.0)
    block = Case.from_dict(smallest(bone__radius_mm=9.0, bone__depth_mm=14.0))
    assert block.block_mm == (9.0, 14.0)
    assert block.is_whole_block
    assert not Case.from_dict(smallest(bone__radius_mm=9.0)).is_whole_block


def test_an_abutment_is_never_wider_than_a_narrow_implant() -> None:
    assert Case.from_dict(smallest(implant__diameter_mm=3.3)).implant.abutment_diameter_mm == 3.3


@pytest.mark.parametrize(
    ("form", "apical", "coronal"),
    [("v", 30, 30), ("trapezoid", 15, 15), ("square", 0, 0), ("buttress", 15, 45)],
)
def test_flank_angles_of_the_thread_forms(form: str, apical: float, coronal: float) -> None:
    case = Case.from_dict(smallest(implant__thread__form=form))
    assert case.implant.thread.flank_angles_deg == (apical, coronal)


def test_a_bonded_interface_has_neither_friction_nor_interference() -> None:
    face = Case.from_dict(smallest(interface__kind="bonded")).interface
    assert (face.friction, face.interference_um) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("socket", "filled", "modulus_mpa"),
    [
        ({}, True, 1.0),
        ({"gap_fill": "empty"}, False, 0.0),
        ({"gap_fill": "graft"}, True, 10.0),
        ({"gap_modulus_mpa": 3.5}, True, 3.5),
    ],
)
def test_what_fills_the_gap(socket: dict[str, Any], filled: bool, modulus_mpa: float) -> None:
    got = Case.from_dict({**smallest(), "socket": socket}).socket
    assert (got.gap_filled, got.gap_stiffness_mpa) == (filled, modulus_mpa)


# ---- loads and materials -----------------------------------------------------------------------


def test_a_force_at_an_angle_is_its_components() -> None:
    load = {"name": "oblique", "force_n": 200.0, "angle_deg": 30.0, "torque_ncm": 2.0}
    axial, lateral, torque = Case.from_dict(smallest(loads=[load])).loads[0].components
    assert axial == pytest.approx(100 * math.sqrt(3))
    assert lateral == pytest.approx(100)
    assert torque == pytest.approx(20)


def test_elastic_constants_of_the_implant() -> None:
    assert Case.from_dict(smallest()).implant.elastic == materials.TITANIUM
    zirconia = Case.from_dict(smallest(implant__material="zirconia"))
    assert zirconia.implant.elastic.modulus_mpa == 210_000
    own = Case.from_dict(smallest(implant__modulus_mpa=1000.0, implant__poisson=0.0))
    assert own.implant.elastic == materials.Material(modulus_mpa=1000.0, poisson=0.0)


def test_elastic_constants_agree_with_one_another() -> None:
    """E_oed = λ + 2G, λ = 2Gν / (1 - 2ν); without lateral contraction E_oed = E = 2G."""
    bone = materials.Material(modulus_mpa=1370.0, poisson=0.3)
    shear = bone.shear_modulus_mpa
    lame = 2 * shear * 0.3 / (1 - 2 * 0.3)
    assert bone.oedometric_modulus_mpa == pytest.approx(lame + 2 * shear)
    cork = materials.Material(modulus_mpa=20.0, poisson=0.0)
    assert cork.oedometric_modulus_mpa == cork.modulus_mpa == 2 * cork.shear_modulus_mpa


@pytest.mark.parametrize(
    ("law", "constant", "power"),
    [
        ("morgan_2003_femoral_neck", 6850.0, 1.49),  # Morgan, Bayraktar, Keaveny 2003
        ("morgan_2003_vertebra", 4730.0, 1.56),  # Morgan, Bayraktar, Keaveny 2003
        ("morgan_2003_pooled", 8920.0, 1.83),  # the same, from memory
        ("carter_hayes_1977", 3790.0 * 0.01**0.06, 3.0),  # Carter & Hayes 1977, at 0.01 /s
    ],
)
def test_density_laws_are_the_published_powers(law: str, constant: float, power: float) -> None:
    bone = {"cortical_thickness_mm": 1.0, "density": 0.6, "density_law": law}
    ((_, modulus),) = Case.from_dict(smallest(bone=bone)).bone.trabecular_profile_mpa
    assert modulus == pytest.approx(constant * 0.6**power)


def test_a_ct_number_gives_density_and_then_modulus() -> None:
    """ρ = 0.131 + 0.001067 HU g/cm³ (Rho, Hobatho, Ashman 1995, from memory)."""
    bone = {"cortical_thickness_mm": 1.0, "ct_number": 500}
    ((_, modulus),) = Case.from_dict(smallest(bone=bone)).bone.trabecular_profile_mpa
    assert modulus == pytest.approx(3790 * 0.01**0.06 * 0.6645**3)


def test_the_default_density_law_lies_inside_the_jaw_measurements() -> None:
    """Seven cubes of one mandible: mean 0.55 g/cm³, 114 to 907 MPa by direction (O'Mahony 2000)."""
    assert 114 < materials.DENSITY_LAWS["carter_hayes_1977"](0.55) < 907


def test_a_modulus_may_vary_with_depth() -> None:
    pairs = [[0, 800], [5.0, 300.0]]
    bone = Case.from_dict(smallest(bone__trabecular_modulus_mpa=pairs)).bone
    assert bone.trabecular_profile_mpa == ((0.0, 800.0), (5.0, 300.0))


# ---- value semantics and round trip ------------------------------------------------------------


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_case_says_that_it_is_invented(path: Path) -> None:
    assert "invented scenario" in read_case(path).title.lower()
    assert "invented scenario" in path.read_text(encoding="utf-8").splitlines()[0]


def test_the_promised_cases_are_shipped() -> None:
    assert {path.stem for path in SHIPPED} == {
        "foam_block_30deg",
        "canine_socket",
        "healed_premolar",
        "soft_posterior",
    }


VARIANTS = {
    "smallest": smallest(),
    "bonded": smallest(interface__kind="bonded"),
    "smooth": smallest(implant__thread={"form": "none"}),
    "square": smallest(implant__thread={"form": "square"}),
    "own material": smallest(implant__modulus_mpa=5000, implant__poisson=0.4),
    "own gap": smallest(socket={"holds_mm": [[2, 5], [7, 10]], "gap_modulus_mpa": 6.56}),
    "density": smallest(bone={"cortical_thickness_mm": 0, "density": 0.4}),
    "profile from below the crest": smallest(bone__trabecular_modulus_mpa=[[1.0, 400]]),
    "torque": smallest(loads=[{"name": "t", "torque_ncm": 10, "height_mm": 0}]),
    "outline": smallest(implant={"outline_mm": [[2, 0], [1.9, -8], [0, -10]]}),
}


@pytest.mark.parametrize("data", VARIANTS.values(), ids=VARIANTS.keys())
def test_a_resolved_case_reads_back_equal(data: dict[str, Any], tmp_path: Path) -> None:
    before = copy.deepcopy(data)
    case = Case.from_dict(data)
    again = read_case(write(tmp_path, resolved_toml(case)))
    assert data == before, "the user's own dictionary is left as it was"
    assert again == case
    assert hash(again) == hash(case)
    assert again.fingerprint() == case.fingerprint()
    assert resolved_toml(again) == resolved_toml(case)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_case_reads_back_equal(path: Path, tmp_path: Path) -> None:
    case = read_case(path)
    assert read_case(write(tmp_path, resolved_toml(case))) == case


def test_the_resolved_case_writes_every_default() -> None:
    text = resolved_toml(Case.from_dict(smallest()))
    for line in ("friction = 0.4", "far_mm = 100.0", "axial_n = 0.0", 'material = "titanium"'):
        assert line in text


def test_a_fingerprint_follows_the_values_not_how_they_were_written() -> None:
    case = Case.from_dict(smallest())
    spelt_out = Case.from_dict(smallest(implant__length_mm=10, interface__friction=0.4))
    signed_zero = Case.from_dict(smallest(implant__taper_deg=-0.0))
    assert case.fingerprint() == spelt_out.fingerprint() == signed_zero.fingerprint()
    assert case.fingerprint() != Case.from_dict(smallest(interface__friction=0.5)).fingerprint()


def test_the_reference_of_the_case_file_is_up_to_date() -> None:
    committed = (DOCS / "case_file.md").read_text(encoding="utf-8")
    assert committed == case_reference_markdown()


# ---- outlines ----------------------------------------------------------------------------------


def test_an_outline_gives_diameter_and_length(tmp_path: Path) -> None:
    implant = read_case(write(tmp_path, OUTLINED, OUTLINE)).implant
    assert (implant.diameter_mm, implant.length_mm) == (4.4, 11.0)
    assert implant.outline_mm == ((2.0, 0.0), (2.2, -1.0), (1.8, -9.0), (0.0, -11.0))
    assert implant.platform_diameter_mm == implant.abutment_diameter_mm == 4.0


def test_an_outline_may_undercut_but_not_cross(tmp_path: Path) -> None:
    undercut = "r_mm,z_mm\n2,0\n2,-2\n1.6,-1.5\n1.6,-8\n0,-8\n"
    assert read_case(write(tmp_path, OUTLINED, undercut)).implant.length_mm == 8.0


@pytest.mark.parametrize(
    ("outline", "said"),
    [
        (None, "cannot be read"),
        ("", "first line is r_mm,z_mm"),
        ("2,0\n2,-9\n", "first line is r_mm,z_mm"),
        ("r_mm,z_mm\n2,0\n", "at least 2 points"),
        ("r_mm,z_mm\n2,0\n2,-5,1\n0,-9\n", 'line 3 is "2,-5,1"'),
        ("r_mm,z_mm\n2,0\n2\n0,-9\n", 'line 3 is "2"'),
        ("r_mm,z_mm\n2,0\ntwo,-5\n0,-9\n", 'line 3 is "two,-5"'),
        ("r_mm,z_mm\n2,0\nnan,-5\n0,-9\n", 'line 3 is "nan,-5"'),
        ("r_mm,z_mm\n2,-1\n2,-9\n", "begin at the crest"),
        ("r_mm,z_mm\n2,0\n-1,-5\n0,-9\n", "the axis at point 2"),
        ("r_mm,z_mm\n2,0\n0,-5\n1,-9\n", "the axis at point 2"),
        ("r_mm,z_mm\n2,0\n2,1\n0,-9\n", "below the crest"),
        ("r_mm,z_mm\n2,0\n2,-5\n2,-5\n0,-9\n", "points 2 and 3 are the same"),
        ("r_mm,z_mm\n2,0\n2,-9\n1,-8\n", "end at its deepest point"),
        (
            "r_mm,z_mm\n2,0\n1,-6\n1,-3\n2,-8\n",
            "begins at point 1 meets the one that begins at point 3",
        ),
        ("r_mm,z_mm\n2,0\n2,-6\n2,-3\n1,-9\n", "crosses or touches itself"),
        ("r_mm,z_mm\n2,0\n1,-5\n2,-6\n3,-2\n1,-5\n1,-9\n", "crosses or touches itself"),
    ],
)
def test_an_unsound_outline_is_refused(outline: str | None, said: str, tmp_path: Path) -> None:
    path = write(tmp_path, OUTLINED, outline)
    with pytest.raises(CaseError) as caught:
        read_case(path)
    message = str(caught.value)
    assert message.startswith(f'{path}: implant.outline_csv = "outline.csv": ')
    assert said in message
    assert "\n" not in message


def test_an_outline_given_inline_is_checked_alike() -> None:
    message = refusal(smallest(implant={"outline_mm": [[2, 0], [-1, -5], [0, -9]]}))
    assert message.startswith("implant.outline_mm = [[2, 0], [-1, -5], [0, -9]]: ")
    assert "the axis at point 2" in message


@pytest.mark.parametrize("key", ["diameter_mm", "length_mm", "taper_deg"])
def test_an_outline_leaves_no_room_for_other_sizes(key: str, tmp_path: Path) -> None:
    text = OUTLINED.replace("[bone]", f"{key} = 4\n[bone]")
    with pytest.raises(CaseError, match=f"implant.{key} = 4: is not used with an outline"):
        read_case(write(tmp_path, text, OUTLINE))


def test_two_outlines_are_refused(tmp_path: Path) -> None:
    text = OUTLINED.replace("[bone]", "outline_mm = [[2, 0], [0, -9]]\n[bone]")
    with pytest.raises(CaseError, match="is not used with outline_mm"):
        read_case(write(tmp_path, text, OUTLINE))


def test_an_outline_file_is_read_for_a_case_file_only() -> None:
    assert "outline_mm" in refusal(smallest(implant={"outline_csv": "outline.csv"}))


# ---- files that cannot be read -----------------------------------------------------------------


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="there is no such file"):
        read_case(tmp_path / "nowhere.toml")
    with pytest.raises(CaseError, match="is a folder"):
        read_case(tmp_path)


def test_a_file_that_is_not_utf8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(SMALLEST.encode() + b"\n# \xe9")
    with pytest.raises(CaseError, match="is not UTF-8"):
        read_case(path)


def test_broken_toml_is_refused_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match=r"is not valid TOML: .*line 4, column"):
        read_case(write(tmp_path, 'title = "a"\n[implant]\nlength_mm = 10\ndiameter_mm = \n'))


def test_a_message_names_file_key_value_and_what_is_right(tmp_path: Path) -> None:
    path = write(tmp_path, SMALLEST.replace("diameter_mm = 4.0", "diameter_mm = -3"))
    with pytest.raises(CaseError) as caught:
        read_case(path)
    error = caught.value
    assert str(error) == (
        f"{path}: implant.diameter_mm = -3: must be greater than 0 mm (usual: 3 to 5 mm)"
    )
    assert (error.file, error.key, error.value) == (str(path), "implant.diameter_mm", "-3")


# ---- keys and values that are refused ----------------------------------------------------------

REFUSED: list[tuple[dict[str, Any], str, str]] = [
    # unknown and missing keys
    (
        {"implant__diameter_cm": 0.4},
        "implant.diameter_cm = 0.4",
        "implant.diameter_mm? Its value is in mm",
    ),
    ({"implant__lenght_mm": 10}, "implant.lenght_mm = 10", "did you mean implant.length_mm?"),
    ({"implant__pitch_mm": 0.8}, "implant.pitch_mm = 0.8", "did you mean implant.thread.pitch_mm?"),
    ({"bone__colour": "white"}, 'bone.colour = "white"', "known here: cortical_thickness_mm"),
    ({"load": []}, "load = []", "did you mean loads?"),
    ({"sockets": {}}, "sockets", "did you mean socket?"),
    ({"title": None}, "title", "is missing"),
    ({"implant__length_mm": None}, "implant.length_mm", "is missing"),
    ({"bone": None}, "bone", "is missing"),
    ({"loads": None}, "loads", "is missing"),
    ({"loads": []}, "loads = []", "must have at least 1"),
    ({"loads": {"name": "a", "axial_n": 1}}, "loads", "[[loads]]"),
    ({"loads": [3]}, "loads[1] = 3", "must be a table, [[loads]]"),
    ({"implant": 3}, "implant = 3", "must be a table, [implant]"),
    ({"implant__thread": "v"}, 'implant.thread = "v"', "must be a table, [implant.thread]"),
    # wrong types
    ({"title": 3}, "title = 3", "must be text"),
    ({"title": ""}, 'title = ""', "must not be empty"),
    ({"implant__length_mm": "10"}, 'implant.length_mm = "10"', "must be a number, without quotes"),
    ({"implant__length_mm": True}, "implant.length_mm = true", "must be a number"),
    ({"implant__length_mm": 10**400}, "implant.length_mm = 1000", "must be a number"),
    ({"implant__length_mm": 10**5000}, "implant.length_mm = a number of", "must be a number"),
    ({"implant__material": "steel"}, 'implant.material = "steel"', '"titanium" or "zirconia"'),
    ({"numerics__harmonics": 6.0}, "numerics.harmonics = 6.0", "must be a whole number"),
    ({"socket__holds_mm": [0, 10]}, "socket.holds_mm = [0, 10]", "list of pairs"),
    ({"socket__holds_mm": [["0", 10]]}, 'socket.holds_mm[1][1] = "0"', "lists count from 1"),
    ({"bone__trabecular_modulus_mpa": "soft"}, 'bone.trabecular_modulus_mpa = "soft"', "a number"),
    # numbers out of range
    ({"implant__length_mm": 0}, "implant.length_mm = 0", "greater than 0 mm"),
    ({"implant__length_mm": math.nan}, "implant.length_mm = nan", "finite"),
    ({"loads": [{"name": "a", "axial_n": math.inf}]}, "loads[1].axial_n = inf", "finite"),
    ({"implant__taper_deg": -1}, "implant.taper_deg = -1", "at least 0 degrees"),
    ({"implant__taper_deg": 12}, "implant.taper_deg = 12", "leaves a tip radius"),
    ({"implant__abutment_diameter_mm": 4.5}, "implant.abutment_diameter_mm = 4.5", "at most 4 mm"),
    ({"bone__cortical_thickness_mm": -1}, "bone.cortical_thickness_mm = -1", "at least 0 mm"),
    (
        {"bone__cortical_modulus_mpa": 2e6},
        "bone.cortical_modulus_mpa = 2000000.0",
        "at most 1000000 MPa",
    ),
    (
        {"bone__trabecular_modulus_mpa": 0.001},
        "bone.trabecular_modulus_mpa = 0.001",
        "at least 0.01 MPa",
    ),
    (
        {"bone__trabecular_modulus_mpa": [[0, 5], [3, -1]]},
        "bone.trabecular_modulus_mpa[2][2] = -1",
        "0.01",
    ),
    (
        {"bone__trabecular_modulus_mpa": [[3, 5], [0, 9]]},
        "bone.trabecular_modulus_mpa",
        "growing depth",
    ),
    ({"bone__trabecular_modulus_mpa": []}, "bone.trabecular_modulus_mpa = []", "growing depth"),
    ({"bone__poisson": 0.5}, "bone.poisson = 0.5", "at most 0.495"),
    ({"bone__poisson": -0.1}, "bone.poisson = -0.1", "at least 0"),
    ({"interface__friction": 3}, "interface.friction = 3", "at most 2"),
    (
        {"interface__layer_thickness_mm": -0.1},
        "interface.layer_thickness_mm = -0.1",
        "at least 0 mm",
    ),
    ({"threshold__bands_um": [100, 50]}, "threshold.bands_um = [100, 50]", "must rise"),
    ({"threshold__bands_um": []}, "threshold.bands_um = []", "at least 1"),
    ({"threshold__bands_um": [0, 50]}, "threshold.bands_um[1] = 0", "greater than 0 µm"),
    ({"numerics__harmonics": 33}, "numerics.harmonics = 33", "at most 32"),
    ({"numerics__element_mm": 0.0}, "numerics.element_mm = 0.0", "at least 0.02 mm"),
    # threads
    ({"implant__thread__depth_mm": 1.8}, "implant.thread.depth_mm = 1.8", "at most 1.75 mm"),
    ({"implant__thread__pitch_mm": 0.3}, "implant.thread.pitch_mm = 0.3", "crest flat (0.1 mm)"),
    ({"implant__thread__pitch_mm": 11}, "implant.thread.pitch_mm = 11", "at most 9.9 mm"),
    ({"implant__thread": {"form": "round"}}, 'implant.thread.form = "round"', '"v", "square"'),
    (
        {"implant__thread": {"form": "square", "flank_angle_deg": 5}},
        "implant.thread.flank_angle_deg = 5",
        'not used with form = "square"',
    ),
    (
        {"implant__thread": {"form": "none", "pitch_mm": 1}},
        "implant.thread.pitch_mm = 1",
        'not used with form = "none"',
    ),
    # either, or
    ({"implant__modulus_mpa": 1e5}, "implant.poisson", "is missing: modulus_mpa needs it"),
    (
        {"implant__material": "titanium", "implant__poisson": 0.3},
        'implant.material = "titanium"',
        "not used with poisson",
    ),
    ({"bone__ct_number": 400}, "bone", "it has trabecular_modulus_mpa and ct_number"),
    ({"bone__trabecular_modulus_mpa": None}, "bone", "it has none"),
    (
        {"bone__density_law": "carter_hayes_1977"},
        'bone.density_law = "carter_hayes_1977"',
        "only with ct_number or density",
    ),
    (
        {"bone": {"cortical_thickness_mm": 1, "density": 0.001}},
        "bone.density = 0.001",
        "gives a trabecular modulus of",
    ),
    (
        {"socket": {"gap_fill": "clot", "gap_modulus_mpa": 2}},
        'socket.gap_fill = "clot"',
        "not used with gap_modulus_mpa",
    ),
    (
        {"interface": {"kind": "bonded", "friction": 0.4}},
        "interface.friction = 0.4",
        'not used with kind = "bonded"',
    ),
    (
        {"interface": {"kind": "bonded", "interference_um": 0}},
        "interface.interference_um = 0",
        'not used with kind = "bonded"',
    ),
    # holds
    ({"socket__holds_mm": []}, "socket.holds_mm = []", "engagement of zero"),
    ({"socket__holds_mm": [[4, 4]]}, "socket.holds_mm = [[4, 4]]", "0.2 mm long"),
    ({"socket__holds_mm": [[6, 4]]}, "socket.holds_mm = [[6, 4]]", "top first"),
    ({"socket__holds_mm": [[-1, 4]]}, "socket.holds_mm = [[-1, 4]]", "above the crest"),
    ({"socket__holds_mm": [[8, 11]]}, "socket.holds_mm = [[8, 11]]", "outside the implant"),
    ({"socket__holds_mm": [[0, 5], [4, 9]]}, "socket.holds_mm = [[0, 5], [4, 9]]", "overlap"),
    ({"socket__holds_mm": [[5, 9], [0, 4]]}, "socket.holds_mm = [[5, 9], [0, 4]]", "out of order"),
    ({"implant__thread__pitch_mm": 0.01}, "implant.thread.pitch_mm = 0.01", "at least 0.1"),
    ({"bone__cortical_thickness_mm": 0.001}, "bone.cortical_thickness_mm = 0.001", "must be 0"),
    ({"implant__abutment_height_mm": 9e15}, "implant.abutment_height_mm", "at most 200"),
    ({"implant__modulus_mpa": 0.01, "implant__poisson": 0.3}, "implant.modulus_mpa", "at least 100"),
    ({"threshold": {"bands_um": list(range(1, 99))}}, "threshold.bands_um", "at most 12"),
    # the block
    ({"bone__radius_mm": 3.9}, "bone.radius_mm = 3.9", "at least 4 mm"),
    ({"bone__depth_mm": 10.5}, "bone.depth_mm = 10.5", "at least 11 mm"),
    # loads
    (
        {
            "loads": [
                {"name": "a", "axial_n": 1},
                {"name": "b", "axial_n": 1, "force_n": 2, "angle_deg": 0},
            ]
        },
        "loads[2].force_n = 2",
        "not used with axial_n",
    ),
    ({"loads": [{"name": "a", "force_n": 50}]}, "loads[1].angle_deg", "force_n needs it"),
    ({"loads": [{"name": "a", "angle_deg": 50}]}, "loads[1].force_n", "angle_deg needs it"),
    (
        {"loads": [{"name": "a", "force_n": -5, "angle_deg": 0}]},
        "loads[1].force_n = -5",
        "than 0 N",
    ),
    ({"loads": [{"name": "a"}]}, "loads[1]", "is no load"),
    ({"loads": [{"name": "a", "axial_n": 0, "lateral_n": 0.0}]}, "loads[1]", "is no load"),
    (
        {"loads": [{"name": "a", "axial_n": 1, "height_mm": -2}]},
        "loads[1].height_mm = -2",
        "at least 0 mm",
    ),
    (
        {"loads": [{"name": "a", "axial_n": 1}, {"name": "a", "axial_n": 2}]},
        "loads",
        '"a" more than once',
    ),
]


@pytest.mark.parametrize(("changes", "place", "said"), REFUSED, ids=[place for _, place, _ in REFUSED])
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    message = refusal(smallest(**changes))
    assert message.startswith(place)
    assert said in message
    assert "\n" not in message, "one problem, one line"


# Sizes whose bounds have more digits than the message.
SIZES = {"implant__diameter_mm": 4.12345678, "implant__length_mm": 8.12345678}


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({**SIZES, "bone__radius_mm": 1.0}, "bone__radius_mm"),
        ({**SIZES, "bone__depth_mm": 1.0}, "bone__depth_mm"),
        ({**SIZES, "implant__abutment_diameter_mm": 5.0}, "implant__abutment_diameter_mm"),
        (
            {
                **SIZES,
                "implant__taper_deg": 3.0,
                "implant__thread__form": "square",
                "implant__thread__depth_mm": 1.9,
            },
            "implant__thread__depth_mm",
        ),
        (
            {
                "implant__diameter_mm": 3.3,
                "implant__thread__form": "square",
                "implant__thread__depth_mm": 1.5,
            },
            "implant__thread__depth_mm",
        ),
        (
            {"implant__thread__pitch_mm": 0.2, "implant__thread__depth_mm": 0.35},
            "implant__thread__pitch_mm",
        ),
        ({**SIZES, "implant__thread__pitch_mm": 9.0}, "implant__thread__pitch_mm"),
        (
            {
                "implant__thread__form": "square",
                "implant__thread__pitch_mm": 0.5123456789,
                "implant__thread__crest_flat_mm": 0.5123456789,
            },
            "implant__thread__pitch_mm",
        ),
        (
            {
                "implant__thread__form": "square",
                "implant__length_mm": 37.7777777,
                "implant__thread__pitch_mm": 0.5,
            },
            "implant__thread__pitch_mm",
        ),
        (
            {"implant__thread__flank_angle_deg": 1.0, "implant__thread__crest_flat_mm": 0.0},
            "implant__thread__crest_flat_mm",
        ),
    ],
)
def test_the_bound_that_a_message_tells_is_itself_taken(changes: dict[str, Any], key: str) -> None:
    told = re.search(r"at (least|most) ([\d.]+) mm", refusal(smallest(**changes)))
    assert told is not None
    bound = float(told[2])
    Case.from_dict(smallest(**{**changes, key: bound}))
    beyond = bound * (0.999 if told[1] == "least" else 1.001)
    assert key.rpartition("__")[2] in refusal(smallest(**{**changes, key: beyond}))


def test_a_section_that_is_missing_is_told_how_to_be_written() -> None:
    text = refusal({})
    assert "implant: is missing: write [implant] and its keys below it, diameter_mm, length_mm" in text
    assert "bone: is missing: write [bone] and its keys below it, cortical_thickness_mm" in text
    assert "loads: is missing: write [[loads]] and its keys below it, name" in text


def test_a_wrong_unit_is_one_problem_not_also_a_missing_key() -> None:
    message = refusal(smallest(implant={"diameter_cm": 0.4, "length_mm": 10}))
    assert message == (
        "implant.diameter_cm = 0.4: is an unknown key; did you mean implant.diameter_mm? "
        "Its value is in mm."
    )


def test_a_gap_needs_bone_beyond_it() -> None:
    holds = [[2, 9]]
    beside = refusal(smallest(socket__holds_mm=holds, bone__radius_mm=4.2))
    below = refusal(smallest(socket__holds_mm=holds, bone__depth_mm=11.2))
    assert "must be at least 4.5 mm" in beside
    assert "must be at least 11.5 mm" in below


def test_a_cortical_layer_may_be_absent_or_deeper_than_the_implant() -> None:
    for thickness in (0, 12, 40):
        case = Case.from_dict(smallest(bone__cortical_thickness_mm=thickness))
        assert case.bone.cortical_thickness_mm == thickness


def test_many_problems_are_told_together_but_not_all_of_them() -> None:
    wrong = {f"implant__{key}": -1 for key in ("diameter_mm", "length_mm", "abutment_height_mm")}
    bone = {f"bone__{key}": -1 for key in ("radius_mm", "poisson", "depth_mm", "density")}
    lines = refusal(smallest(**wrong, **bone)).splitlines()
    assert len(lines) == 6
    assert lines[-1] == "and 2 more"


def test_none_counts_as_not_given() -> None:
    data = smallest()
    data["implant"]["material"] = None
    assert Case.from_dict(data) == Case.from_dict(smallest())


# ---- errors ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "exit_code"),
    [(CaseError, 2), (MeshError, 2), (OutputError, 2), (NotConverged, 3), (EnvironmentProblem, 4)],
)
def test_every_error_has_its_exit_code(kind: type[StillrootError], exit_code: int) -> None:
    assert issubclass(kind, StillrootError)
    assert kind.exit_code == exit_code


def test_a_solve_that_does_not_converge_keeps_its_history() -> None:
    error = NotConverged("no", stage="seat", residual_history=(1.0, 0.5))
    assert (error.stage, error.residual_history) == ("seat", (1.0, 0.5))
