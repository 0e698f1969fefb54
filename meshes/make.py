"""Store the meshes of the shipped cases and plans, so that they run where gmsh cannot be loaded.

    python meshes/make.py           # (re)writes meshes/*.npz, removes what no case needs

Each case is stored as it is, and coarser, as the error estimate solves it.
"""

from collections.abc import Iterator
from pathlib import Path

from stillroot.arch.plan import read_plan
from stillroot.inputs.case import Case, read_case
from stillroot.mechanics.accuracy import coarse_cases
from stillroot.mechanics.mesh import mesh_key, mesh_outline
from stillroot.mechanics.outline import outline_of
from stillroot.mechanics.stored import write_section

HERE = Path(__file__).parent
DOCS = HERE.parent / "docs"


def shipped() -> Iterator[tuple[Path, Case]]:
    """Yield each shipped case with the file that it is in."""
    for path in sorted((DOCS / "cases").glob("*.toml")):
        yield path, read_case(path)
    for path in sorted((DOCS / "plans").glob("*.toml")):
        for case in read_plan(path).cases.values():
            yield path, case


def main() -> None:
    wanted = set()
    for path, case in shipped():
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
