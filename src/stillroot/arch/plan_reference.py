"""The reference of the plan file, generated from the models: docs/plan_file.md."""

from __future__ import annotations

from stillroot.arch.plan import PLAN_SECTIONS
from stillroot.inputs.case_reference import reference_markdown

HEAD = """\
# The plan file

A plan is one TOML file with the implants, the bridge that splints them, and the loads on the bridge;
`stillroot span` computes it ([span.md](span.md)). The tables below list each key with its default and
the source of that default, as for [the case file](case_file.md): *assumption* means that there is no
source; *from memory* means that the source is right but the number was not read again in it.

The plan has its own axes: x and y are horizontal, and z is positive out of the bone. Positions are in
mm. A bite presses towards negative z.

For research and teaching; not a medical device. It decides nothing about a patient: licensed practice
and local rules decide.

The shipped plans, all invented, are in [plans](plans).
"""

TITLES = {
    "": "Top of the file",
    "implants": "`[[implants]]`, one per implant",
    "loads": "`[[loads]]`, one per load",
    "loads.forces": "`forces` of a load instead of `bite`, one table per force",
}


def plan_reference_markdown() -> str:
    """Return the reference of all keys of a plan as Markdown."""
    return reference_markdown(HEAD, PLAN_SECTIONS, TITLES)
