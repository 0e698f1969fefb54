"""The reference of the plan file, generated from the models: docs/plan_file.md."""

from __future__ import annotations

from stillroot.arch.plan import PLAN_SECTIONS
from stillroot.inputs.case_reference import reference_markdown

HEAD = """\
# The plan file

One TOML file holds one plan: implants, the bridge that splints them, and loads on it; `stillroot span`
answers it ([span.md](span.md)). Each key is listed below with its default and where that comes from, in
the way of [the case file](case_file.md): *assumption* means that no source stands behind it, *from
memory* that the source is right but the number was not read again in it.

The plan has axes of its own: x and y level, z out of the bone positive. Positions are mm. A bite presses
towards negative z.

The tool is for research and teaching. It is no medical device and decides nothing about a patient;
licensed practice and local rules decide.

Shipped plans, all of them invented scenarios, are in [plans](plans).
"""

TITLES = {
    "": "Top of the file",
    "implants": "`[[implants]]`, one an implant",
    "loads": "`[[loads]]`, one a load",
    "loads.forces": "`forces` of a load in place of `bite`, one table a force",
}


def plan_reference_markdown() -> str:
    """Return the reference of all keys of a plan as Markdown."""
    return reference_markdown(HEAD, PLAN_SECTIONS, TITLES)
