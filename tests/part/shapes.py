"""Shapes for the tests of reading: built here, or by trimesh."""

import numpy as np
import trimesh


def box(size=(10.0, 10.0, 10.0), at=(0.0, 0.0, 0.0)):
    """A box of 12 faces whose lowest corner is at ``at``."""
    mesh = trimesh.creation.box(size)
    mesh.apply_translation(np.asarray(at) + np.asarray(size) / 2)
    return np.array(mesh.vertices), np.array(mesh.faces)


def stacked(*meshes):
    """Meshes one after the other in one pair of arrays."""
    offset = np.cumsum([0] + [len(v) for v, _ in meshes])
    return (
        np.concatenate([v for v, _ in meshes]),
        np.concatenate([f + o for (_, f), o in zip(meshes, offset, strict=False)]),
    )


def prism(n, radius, height):
    """A prism on a regular n-gon inscribed in a circle, ends fanned from their middles."""
    angle = 2 * np.pi * np.arange(n) / n
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    low = np.column_stack([ring, np.zeros(n)])
    high = np.column_stack([ring, np.full(n, height)])
    vertices = np.vstack([low, high, [[0, 0, 0], [0, 0, height]]])
    i = np.arange(n)
    j = (i + 1) % n
    faces = np.vstack(
        [
            np.stack([i, j, j + n], axis=1),
            np.stack([i, j + n, i + n], axis=1),
            np.stack([j, i, np.full(n, 2 * n)], axis=1),
            np.stack([i + n, j + n, np.full(n, 2 * n + 1)], axis=1),
        ]
    )
    return vertices, faces


def voxels(cells):
    """The skin of unit cubes at whole-number cells, corners shared wherever cubes meet."""
    cells = set(cells)
    corners, faces = [], []
    for cell in sorted(cells):
        for axis in range(3):
            for side in (0, 1):
                step = [0, 0, 0]
                step[axis] = 1 if side else -1
                if tuple(np.add(cell, step)) in cells:
                    continue
                u, w = np.eye(3)[(axis + 1) % 3], np.eye(3)[(axis + 2) % 3]
                base = np.add(cell, np.eye(3)[axis] * side)
                quad = [base, base + u, base + u + w, base + w]
                if not side:
                    quad = quad[::-1]
                k = len(corners)
                corners += quad
                faces += [(k, k + 1, k + 2), (k, k + 2, k + 3)]
    return np.array(corners, dtype=float), np.array(faces)
