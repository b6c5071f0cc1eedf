"""A file into a part: reading, units, health, safe repair, bodies, hull and selectors."""
