"""A page on this machine: the site is changed by hand, and the solver answers while one looks."""
