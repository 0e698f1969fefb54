"""What a solving process keeps from one job to the next, and that its threads change nothing."""

import os
from pathlib import Path

import numpy as np
import pytest

from stillroot import Case
from stillroot.answers.chain import grounded
from stillroot.answers.levels import FIRST, OF_THE_ERROR, at_level
from stillroot.explore.workshop import Job, Worker, on_both_cores
from stillroot.inputs.vary import with_keys
from stillroot.mechanics.groundwork import WHOLE


def test_a_bench_keeps_no_more_for_more_cases(shipped_cases):
    case = shipped_cases[3].with_numerics(element_mm=1.0, harmonics=3)
    worker = Worker(lambda _: None)
    first = {"ground", "site", "seat"}
    for number, (section, key, value, kept) in enumerate(
        (
            ("interface", "friction", 0.2, first),
            ("interface", "friction", 0.3, first),
            ("bone", "cortical_modulus_mpa", 9000.0, first | {"split"}),
            ("bone", "cortical_modulus_mpa", 8000.0, first | {"split"}),
            ("bone", "cortical_thickness_mm", 1.3, first),
            ("bone", "cortical_thickness_mm", 1.4, first),
        ),
        start=1,
    ):
        data = case.to_dict()
        data[section][key] = value
        worker.done(Job(number=number, kind="first", case=Case.from_dict(data), more=(0,)))
        assert set(worker._first_bench._coarse._kept) == kept


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is not told here")
def test_a_bench_takes_no_more_memory_for_more_geometries(shipped_cases):
    case = with_keys(shipped_cases[3], {"bone.law": "linear"})
    worker = Worker(lambda _: None)
    taken = []
    for number, thickness in enumerate(np.linspace(0.8, 1.6, 24), start=1):
        data = case.to_dict()
        data["bone"]["cortical_thickness_mm"] = float(thickness)
        worker.done(Job(number=number, kind="first", case=Case.from_dict(data), more=(0,)))
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        taken.append(pages * os.sysconf("SC_PAGE_SIZE") / 2**20)
    # [MiB]; where factors are made in one thread and dropped in another, 25 a change are left
    assert taken[-1] - taken[11] < 150


def test_threads_change_no_digit(shipped_case):
    case = at_level(shipped_case, FIRST)
    alone, together = (grounded(case, each=each) for each in (map, on_both_cores))
    for a, b in zip(together.implant_schur, alone.implant_schur, strict=True):
        np.testing.assert_array_equal(a, b)
    for a, b in zip(together.loaded, alone.loaded, strict=True):
        np.testing.assert_array_equal(a.condensed, b.condensed)
    for a, b in zip(together.bone, alone.bone, strict=True):
        np.testing.assert_array_equal(a.rims[WHOLE][0], b.rims[WHOLE][0])


def test_only_joining_needs_what_the_same_process_did(shipped_cases):
    """A process that died between two jobs is replaced by one that answers the next as it would have."""
    case = shipped_cases[3].with_numerics(element_mm=1.0, harmonics=3)

    def done(worker, kind, *more):
        return worker.done(Job(number=1, kind=kind, case=case, more=more))

    one, found = Worker(lambda _: None), case.interface.interference_um
    done(one, "fine")
    directions, fresh = done(one, "directions"), done(Worker(lambda _: None), "directions")
    assert fresh == directions
    (coarse, strains), others = done(one, "coarse", found), done(one, "others", found)
    assert set(coarse) | set(others) == set(OF_THE_ERROR)
    for level, readings in done(Worker(lambda _: None), "others", found).items():
        for a, b in zip(readings, others[level], strict=True):
            assert a.motion.peak.total_um == b.motion.peak.total_um
    with pytest.raises(AssertionError, match="solved before"):
        done(Worker(lambda _: None), "join", {**coarse, **others}, strains)
    with pytest.raises(AssertionError, match="solved before"):
        done(one, "join", {**coarse, **others}, strains)  # another job came between
    done(one, "fine")
    told = done(one, "join", {**coarse, **others}, strains)
    assert [load["name"] for load in told["loads"]] == [load.name for load in case.loads]
