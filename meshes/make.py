"""Store the meshes of the shipped cases, so that they run where gmsh cannot be loaded.

    python meshes/make.py           # (re)writes meshes/*.npz, removes what no case needs

Each case is stored as it is, and coarser, as the error estimate solves it.
"""

from pathlib import Path

from stillroot.accuracy import coarse_cases
from stillroot.case import read_case
from stillroot.mesh import mesh_key, mesh_outline
from stillroot.outline import outline_of
from stillroot.stored import write_section

HERE = Path(__file__).parent
CASES = HERE.parent / "docs" / "cases"


def main() -> None:
    wanted = set()
    for path in sorted(CASES.glob("*.toml")):
        case = read_case(path)
        for needed in (case, coarse_cases(case)[0]):
            outline, element = outline_of(needed), needed.numerics.element_mm
            stored = HERE / f"{mesh_key(outline, element)}.npz"
            wanted.add(stored)
            write_section(stored, mesh_outline(outline, element))
            print(f"{path.name}, {element} mm: {stored.name}")
    for old in set(HERE.glob("*.npz")) - wanted:
        old.unlink()
        print(f"removed {old.name}")


if __name__ == "__main__":
    main()
