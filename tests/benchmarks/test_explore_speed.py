"""Time of the page from a change to its first and to its refined answer, over a recorded series.

The changes are made in the page as by hand, each after the refined answer to the one before; times are
the page's own, from the change to the answer shown. They are printed, never asserted.

The processor time of the three solving processes until the refined answer is printed as well. It is the
time that the answers would take with nothing else running, and is available on Linux only.
"""

import os
import platform
import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.web._serving import SOFT, serving

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
WAIT_MS = 120_000
ANSWERED = (
    """() => answer.dataset.kind === "refined" && answer.dataset.of === document.body.dataset.version"""
)

SIX_TOLD = "() => !document.querySelector('#six').classList.contains('stale')"

GEOMETRY, BONE, SEAT, LOAD = "geometry", "bone", "seat", "load"
SERIES = (
    (GEOMETRY, "Length, mm", "10"),
    (LOAD, "Axial force, N", "120"),
    (LOAD, "Lateral force, N", "20"),
    (GEOMETRY, "Lower end of hold 1, mm below the crest", "7"),
    (GEOMETRY, "Upper end of hold 1, mm below the crest", "2"),
    (SEAT, "Friction", "0.3"),
    (SEAT, "Interference, µm", "25"),
    (BONE, "Trabecular modulus, MPa", "90"),
    (BONE, "Cortical modulus, MPa", "8000"),
    (GEOMETRY, "Cortical thickness, mm", "1.2"),
    (LOAD, "Height above the crest, mm", "9"),
    (GEOMETRY, "Upper end of hold 1, mm below the crest", "1"),
    (SEAT, "Friction", "0.6"),
    (GEOMETRY, "Diameter, mm", "4.1"),
    (BONE, "Trabecular modulus, MPa", "300"),
    (GEOMETRY, "Thread pitch, mm", "1"),
    (GEOMETRY, "Thread depth, mm", "0.35"),
    (SEAT, "Interference, µm", "10"),
    (LOAD, "Torque about the axis, N·cm", "5"),
    (LOAD, "Torque about the axis, N·cm", "0"),
    (GEOMETRY, "Length, mm", "12"),
    (GEOMETRY, "Lower end of hold 1, mm below the crest", "10"),
    (BONE, "Trabecular modulus, MPa", "150"),
    (LOAD, "Lateral force, N", "40"),
    (SEAT, "Friction", "0.4"),
    (GEOMETRY, "Cortical thickness, mm", "0.8"),
    (GEOMETRY, "Diameter, mm", "4.8"),
    (LOAD, "Axial force, N", "200"),
)


@pytest.mark.benchmark
def test_time_from_change_to_answer():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    times = []
    with serving(SOFT) as served, playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(served.address)
        page.wait_for_function(ANSWERED, timeout=WAIT_MS, polling=100)
        benches = [served.desk.first, served.desk.fine, served.desk.coarser]
        for kind, label, text in SERIES:
            page.wait_for_function(SIX_TOLD, timeout=WAIT_MS, polling=100)
            before = [processor_s(bench.process_id) for bench in benches]
            page.evaluate("() => performance.clearMeasures()")
            entry = page.get_by_label(label, exact=True)
            entry.fill(text)
            entry.press("Enter")
            page.wait_for_function(ANSWERED, timeout=WAIT_MS, polling=100)
            taken = [
                processor_s(bench.process_id) - begun
                for bench, begun in zip(benches, before, strict=True)
            ]
            assert page.locator("#message").inner_text() == ""
            found = page.evaluate(
                "() => performance.getEntriesByType('measure').map((m) => [m.name, m.duration])"
            )
            shown = dict(found)
            times.append((kind, shown["first"] / 1e3, shown["refined"] / 1e3, *taken))
        browser.close()
    assert len(times) == len(SERIES)
    print(f"\n{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print("| change | changes | first [s] | refined [s] | processor: first | fine | coarser |")
    print("|---|---|---|---|---|---|---|")
    for kind in (GEOMETRY, BONE, SEAT, LOAD, "all"):
        rows = np.array([row[1:] for row in times if kind in (row[0], "all")])
        told = (f"{middle:.2f}, {slow:.2f}" for middle, slow in np.percentile(rows, [50, 95], axis=0).T)
        print(f"| {kind} | {len(rows)} | {' | '.join(told)} |")


def processor_s(process: int) -> float:
    """Return the processor time that a process has used [s]; nothing where it is not reported."""
    status = Path(f"/proc/{process}/stat")
    if not status.exists():
        return float("nan")
    user, system = status.read_text(encoding="utf-8").rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")
