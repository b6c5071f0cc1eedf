"""Strength from real loads: the part as cells, one solve for all cases, and every pose judged from it."""
