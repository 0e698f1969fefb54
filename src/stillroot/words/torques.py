"""Insertion torque in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.result import DirectionsResult

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.inputs.case import Case
    from stillroot.mechanics.torque import Torque

TORQUE_IS_ONE = "Torque is friction about one of the six directions; it does not measure the other five."
LEAST_TOLD = 0.005
"""Of the held surface: less of it crushed would read as none."""
TORQUE_LEAVES_OUT = (
    "The torque is friction on compressed bone; it leaves out thread cutting (unless stated) and speed."
)


def torque_text(torque: Torque, *, case: Case) -> str:
    """Return an insertion torque [N·cm] as it was measured, or else in whole numbers."""
    measured = case.interface.measured_torque_ncm
    return f"{torque.insertion_ncm:.0f}" if measured is None else f"{measured:g}"


def torque_lines(result: CheckResult | DirectionsResult) -> tuple[str, ...]:
    """Return what is to be said of the torque of a seated implant."""
    torque, face = result.torque, result.case.interface
    if torque is None:
        return ("Bonded: there is no insertion torque.",)
    parts = [f"Insertion torque {torque_text(torque, case=result.case)} N·cm"]
    if torque.cutting_ncm:
        parts.append(f"of which cutting {torque.cutting_ncm:g} (stated)")
    if face.measured_torque_ncm is not None:
        parts.append(f"as measured, from an interference of {result.interference_um:.1f} µm (found)")
    else:
        parts.append(f"from an interference of {result.interference_um:g} µm")
    if torque.share_crushed >= LEAST_TOLD:
        parts.append(f"bone crushed beside {torque.share_crushed:.0%} of the held surface")
    if face.retained_pressure < 1:
        parts.append(f"{face.retained_pressure:.0%} of the pressure retained")
    if face.retained_pressure < 1 or isinstance(result, DirectionsResult):
        parts.append(f"removal torque {torque.removal_ncm:.0f} N·cm")
    return (", ".join(parts) + ".", TORQUE_LEAVES_OUT)
