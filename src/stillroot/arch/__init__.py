"""A full arch: several implants under one bridge, from the plan file to the motion of each."""
