"""Figures about many children at once. Pure: finished numbers in, shares, counts and drawings out; `now` is given."""
