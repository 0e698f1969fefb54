"""The lesson's pairs, for a lecture: sites that agree in torque and not in motion, or the other way.

`lesson` finds them among its invented sites. Which they are stands here, since to find them takes
minutes; a slow test finds them again. Their numbers do not stand here: the page solves them.
"""

from __future__ import annotations

from typing import Any

from stillroot.studies.lesson_sites import CLOUD, NAMED, SITES, built_pairs, case_of, site_points

EQUAL_TORQUE = ((123, 61), (51, 32), (9, 108))
"""Sites of equal torque, the one that moves less first."""
EQUAL_MOTION = ((9, 102), (108, 61), (65, 53))
"""Sites of equal motion, the one with the lower torque first."""
FOUND_WITH = CLOUD, SITES
"""How finely, and among how many sites."""
ASKED = (
    ("The same torque. The same motion?", "insertion torque", EQUAL_TORQUE),
    ("The same motion. The same torque?", "peak micromotion", EQUAL_MOTION),
)
"""The question of a screen, what its two sites have in common, and its pairs."""


def lecture() -> list[dict[str, Any]]:
    """Return what a lecture shows, screen by screen: a question, and the cases that answer it."""
    points = {point.index: point for point in site_points(SITES)}
    found = [
        {
            "title": title,
            "message": f"Two invented sites whose {same} is the same to within a twentieth.",
            "cases": [case_of(points[index], NAMED).stated() for index in pair],
        }
        for title, same, pairs in ASKED
        for pair in pairs
    ]
    built = [
        {
            "title": pair.title,
            "message": "Two invented sites, built to show what torque is made of.",
            "why": pair.why,
            "cases": [case.stated() for case in pair.cases],
        }
        for pair in built_pairs(NAMED)
    ]
    return found + built
