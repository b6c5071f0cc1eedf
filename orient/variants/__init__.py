"""Redesigns held against each other: what changed, and which is better to build."""
