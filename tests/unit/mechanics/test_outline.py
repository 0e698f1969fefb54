"""The outline: what of the socket holds and what does not."""

from stillroot.mechanics.outline import gaps_between


def test_gaps_are_what_no_hold_covers():
    assert gaps_between(((0.0, 8.0),), 8.0) == ()
    assert gaps_between(((1.0, 2.0), (4.0, 8.0)), 8.0) == ((0.0, 1.0), (2.0, 4.0))
