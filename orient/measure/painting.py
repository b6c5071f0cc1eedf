"""The loops of the column count: overhangs are painted into the columns, then what looks up is dropped.

Faces are seen a block at a time, lane by lane in arrays of constant stride, so that the compiler works on
eight at once; what is left to do one by one is kept short by lists that are made without a branch.
Most faces are about a column wide. A face within two columns by two is tried in all four at once; a
somewhat larger one is cut into such squares; only a large one is walked row by row.

Everything here is compiled, and stands in one file because the compiler's cache looks at one file.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from orient.measure.blocks import BLOCK_FACES, LANES

Single = np.float32

# The support penalty fades in over the limit ± this.
FADE_DEG = 2.0
# A face lies on the bed when it is level within LEVEL_DEG and no higher than this.
ON_BED_MM = 0.02
TAGS = 8  # kinds of faces that can be told apart in one count
# Added to the tag of a face that holds itself up after all, such as the ceiling of a small hole.
FREE = 128

# What one count of one half of the grid adds up. `SUMS` columns, then per tag two more.
(
    W_HITS,
    W_GAP,
    W_HEIGHT,
    W_HEIGHT2,
    W_GAP_HEIGHT,
    HITS,
    GAP,
    HEIGHT,
    HEIGHT2,
    GAP_HEIGHT,
    W_AREA,
    W_MOMENT,
    AREA,
    SHADOW,
    MOMENT,
    GAP_ON_PART,
    SCAR,
    # The same again of the faces that hold themselves up after all.
    F_W_HITS,
    F_W_GAP,
    F_W_HEIGHT,
    F_W_HEIGHT2,
    F_W_GAP_HEIGHT,
    F_HITS,
    F_GAP,
    F_HEIGHT,
    F_HEIGHT2,
    F_GAP_HEIGHT,
    F_W_AREA,
    F_W_MOMENT,
    F_SHADOW,
    F_MOMENT,
    SUMS,
) = range(32)

_LANES = BLOCK_FACES
# Rows of what is seen of a block's faces. The first eighteen are also the rows of the queue.
(
    _X0,
    _Y0,
    _Z0,
    _X1,
    _Y1,
    _Z1,
    _X2,
    _Y2,
    _Z2,
    _ROW0,  # the first row and column of the grid whose centres the face may hold, and those after the last
    _ROW1,
    _COLUMN0,
    _COLUMN1,
    _WEIGHT,
    _CELL,  # four rows: the column of each of four centres that lies in the face, or −1
    _,
    _,
    _,
    _DEPTH,  # four rows: the face's height there
    _,
    _,
    _,
    _LOW,
    _TOP,
    _FACING,
    _JUDGED,
    _KIND,
    _TILE,
    _HERE,
) = range(0, 29 * _LANES, _LANES)
SEEN = 29 * _LANES
QUEUE = 22 * _LANES
_CELLS = 4 * _LANES
# What `_KIND` tells: nothing to paint, a square of two columns, a few of them, or a large face.
_NONE, _SQUARE, _SQUARES, _LARGE = 0, 1, 2, 3
# A box of so many columns is cut into squares.
_FEW = 12
# Share of the first half in the work of a pose.
_FIRST_HALF = 0.46
# With more faces of a block to try than this, all of it is tried where it stands; fewer are queued.
_MANY = 20

# Rows of what is seen of a run of blocks: where they lie, and how far their normals may lean.
_BACK0, _BACK1, _ACROSS0, _ACROSS1, _BOTTOM, _ROOF, _UPMOST, _DOWNMOST = range(0, 8 * _LANES, _LANES)
SIGHT = 8 * _LANES

_FAR = Single(1e30)
_kernel = njit(nogil=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)


@njit(cache=True, nogil=True, error_model="numpy")
def count_poses(  # type: ignore[no-untyped-def]
    lanes, runs, first, normals, areas, tags, rotations, start, stop, half_from, half_to, width,
    shift, angles, landing, touching,
    seen, queue, sight, some, near, large, cells, lane_face, queue_face, partial, share, head, row_low,
    row_high, all_low, all_high, tile_top, column, height,
    hit_column, hit_height, hit_weight, hit_next, below, below_face, sums,
):  # fmt: skip
    """Count poses start to stop into `sums`; returns the first pose that did not fit the scratch memory.

    Each pose is counted in two halves of the grid that are added up afterwards, whatever the number
    of threads, so that one pose can be shared by two threads without changing a bit.
    """
    tiles = (width >> shift) + 4
    for pose in range(start, stop):
        r = rotations[pose]
        lowest, middle = _survey(lanes, runs, first, r, width, angles[0], landing, seen, sight, share)
        for part in range(half_from, half_to):
            row0 = middle if part == 1 else 0
            row1 = width if part == 1 else middle
            out = sums[pose, part]
            # Loops, not slices: compiling a slice costs the first run half a second.
            for i in range(out.shape[0]):
                out[i] = 0.0
            hits = _paint(
                lanes, runs, first, areas, tags, r, width, row0, row1, shift, tiles, angles, lowest,
                seen, queue, sight, some, near, large, cells, partial, head, all_low, all_high, column,
                height, hit_column, hit_height, hit_weight, hit_next, out,
            )  # fmt: skip
            if hits < 0:
                for i in range(-hits - 1):
                    head[hit_column[i]] = -1
                return pose
            _map_tiles(
                hits, hit_column, hit_height, width, row0, row1, shift, tiles, tile_top, row_low, row_high,
                below, below_face,
            )  # fmt: skip
            _drop(
                lanes, runs, first, r, width, row0, row1, shift, tiles, landing, touching,
                seen, queue, sight, some, near, large, cells, lane_face, queue_face, head, row_low, row_high,
                tile_top, column, height, hit_height, hit_next, below, below_face,
            )  # fmt: skip
            _add_up(
                hits, lowest, normals, tags, r, partial, head,
                hit_column, hit_height, hit_weight, below, below_face, out,
            )  # fmt: skip
    return stop


@_kernel
def _see_run(c, r, half, sight):  # type: ignore[no-untyped-def]
    """Where the blocks of a run lie as a pose sees them, and the ends of what their normals allow."""
    r0, r1, r2, r3, r4, r5, r6, r7, r8 = r[0], r[1], r[2], r[3], r[4], r[5], r[6], r[7], r[8]
    j0, j1, j2 = r[9], r[10], r[11]
    for k in range(_LANES):
        m0, m1, m2 = c[k], c[k + _LANES], c[k + 2 * _LANES]
        h0, h1, h2 = c[k + 3 * _LANES], c[k + 4 * _LANES], c[k + 5 * _LANES]
        a0, a1, a2 = c[k + 6 * _LANES], c[k + 7 * _LANES], c[k + 8 * _LANES]
        cone_cos, cone_sin = c[k + 9 * _LANES], c[k + 10 * _LANES]
        middle = r3 * m0 + r4 * m1 + r5 * m2 + half
        reach = abs(r3) * h0 + abs(r4) * h1 + abs(r5) * h2
        sight[k + _BACK0] = middle - reach
        sight[k + _BACK1] = middle + reach
        middle = r0 * m0 + r1 * m1 + r2 * m2 + half
        reach = abs(r0) * h0 + abs(r1) * h1 + abs(r2) * h2
        sight[k + _ACROSS0] = middle - reach
        sight[k + _ACROSS1] = middle + reach
        middle = r6 * m0 + r7 * m1 + r8 * m2
        reach = abs(r6) * h0 + abs(r7) * h1 + abs(r8) * h2
        sight[k + _BOTTOM] = middle - reach
        sight[k + _ROOF] = middle + reach
        # The cosine against the axis, plus or minus the cone's own half angle.
        cosine = a0 * r6 + a1 * r7 + a2 * r8
        square = Single(1) - cosine * cosine
        sine = np.sqrt(square if square > 0 else Single(0))
        sight[k + _UPMOST] = Single(2) if cosine >= cone_cos else cosine * cone_cos + sine * cone_sin
        cosine = a0 * j0 + a1 * j1 + a2 * j2
        square = Single(1) - cosine * cosine
        sine = np.sqrt(square if square > 0 else Single(0))
        sight[k + _DOWNMOST] = Single(-2) if cosine <= -cone_cos else cosine * cone_cos - sine * cone_sin


@_kernel
def _survey(lanes, runs, first, r, width, fade_from, landing, seen, sight, share):  # type: ignore[no-untyped-def]
    """Lowest height of the part, and the row that halves the work of the pose."""
    half = Single(width * 0.5)
    blocks = first.shape[0] - 1
    lowest = _FAR
    for q in range(width):
        share[q] = 0
    work = 0
    for run in range(runs.shape[0]):
        _see_run(runs[run], r, half, sight)
        for k in range(min(_LANES, blocks - run * _LANES)):
            # Every block has a vertex at or below its roof.
            lowest = min(lowest, sight[k + _ROOF])
            faces = first[run * _LANES + k + 1] - first[run * _LANES + k]
            # An overhang costs about twice as much as a face that looks up.
            cost = 2 * faces if sight[k + _DOWNMOST] < fade_from else 0
            cost += faces if sight[k + _UPMOST] > landing else 0
            at = np.int64((sight[k + _BACK0] + sight[k + _BACK1]) * Single(0.5))
            share[min(max(at, 0), width - 1)] += cost
            work += cost
    for k in range(LANES):
        seen[k] = lowest
    r6, r7, r8 = r[6], r[7], r[8]
    for run in range(runs.shape[0]):
        _see_run(runs[run], r, half, sight)
        for j in range(min(_LANES, blocks - run * _LANES)):
            if sight[j + _BOTTOM] >= lowest:
                continue
            block = run * _LANES + j
            for group in range((first[block + 1] - first[block] + LANES - 1) // LANES):
                c = lanes[block, group]
                for k in range(LANES):
                    z0 = r6 * c[k] + r7 * c[k + LANES] + r8 * c[k + 2 * LANES]
                    z1 = r6 * c[k + 3 * LANES] + r7 * c[k + 4 * LANES] + r8 * c[k + 5 * LANES]
                    z2 = r6 * c[k + 6 * LANES] + r7 * c[k + 7 * LANES] + r8 * c[k + 8 * LANES]
                    low = z0 if z0 < z1 else z1
                    low = low if low < z2 else z2
                    seen[k] = low if low < seen[k] else seen[k]
            for k in range(LANES):
                lowest = min(lowest, seen[k])
    # Whoever counts the first half begins later: another thread, once it is awake.
    middle = 0
    done = 0
    while done < Single(_FIRST_HALF) * work and middle < width:
        done += share[middle]
        middle += 1
    return lowest, middle


@_kernel
def _see(lanes, block, count, r, half, row0, row1, shift, tiles, landing, seen):  # type: ignore[no-untyped-def]
    """Faces of a block as a pose sees them: corners, the columns they may hold, and what kind they are."""
    r0, r1, r2, r3, r4, r5, r6, r7, r8 = r[0], r[1], r[2], r[3], r[4], r[5], r[6], r[7], r[8]
    j0, j1, j2 = r[9], r[10], r[11]
    from_row, to_row = Single(row0), Single(row1)
    along, nowhere = Single(tiles), Single(tiles * tiles)
    a_tile = Single(1.0 / (1 << shift))
    for group in range((count + LANES - 1) // LANES):
        c = lanes[block, group]
        for i in range(LANES):
            k = group * LANES + i
            x, y, z = c[i], c[i + LANES], c[i + 2 * LANES]
            x0 = r0 * x + r1 * y + r2 * z + half
            y0 = r3 * x + r4 * y + r5 * z + half
            z0 = r6 * x + r7 * y + r8 * z
            x, y, z = c[i + 3 * LANES], c[i + 4 * LANES], c[i + 5 * LANES]
            x1 = r0 * x + r1 * y + r2 * z + half
            y1 = r3 * x + r4 * y + r5 * z + half
            z1 = r6 * x + r7 * y + r8 * z
            x, y, z = c[i + 6 * LANES], c[i + 7 * LANES], c[i + 8 * LANES]
            x2 = r0 * x + r1 * y + r2 * z + half
            y2 = r3 * x + r4 * y + r5 * z + half
            z2 = r6 * x + r7 * y + r8 * z
            seen[k + _X0], seen[k + _Y0], seen[k + _Z0] = x0, y0, z0
            seen[k + _X1], seen[k + _Y1], seen[k + _Z1] = x1, y1, z1
            seen[k + _X2], seen[k + _Y2], seen[k + _Z2] = x2, y2, z2
            least = y0 if y0 < y1 else y1
            q0 = np.ceil(y2 if y2 < least else least)
            q0 = from_row if q0 < from_row else q0
            most = y0 if y0 > y1 else y1
            q1 = np.ceil(y2 if y2 > most else most)
            q1 = to_row if q1 > to_row else q1
            least = x0 if x0 < x1 else x1
            g0 = np.ceil(x2 if x2 < least else least)
            most = x0 if x0 > x1 else x1
            g1 = np.ceil(x2 if x2 > most else most)
            seen[k + _ROW0], seen[k + _ROW1], seen[k + _COLUMN0], seen[k + _COLUMN1] = q0, q1, g0, g1
            most = z0 if z0 > z1 else z1
            seen[k + _TOP] = z2 if z2 > most else most
            x, y, z = c[i + 9 * LANES], c[i + 10 * LANES], c[i + 11 * LANES]
            facing = r6 * x + r7 * y + r8 * z
            seen[k + _FACING] = facing
            seen[k + _JUDGED] = j0 * x + j1 * y + j2 * z
            rows, columns = q1 - q0, g1 - g0
            some = (rows > 0) & (columns > 0) & (facing > landing)
            square = (rows <= 2) & (columns <= 2)
            kind = Single(_SQUARES) if rows * columns <= _FEW else Single(_LARGE)
            kind = Single(_SQUARE) if square else kind
            seen[k + _KIND] = kind if some else Single(_NONE)
            least = z0 if z0 < z1 else z1
            least = z2 if z2 < least else least
            seen[k + _LOW] = least if some else Single(2) * _FAR
            tile = np.floor(q0 * a_tile) * along + np.floor(g0 * a_tile)
            seen[k + _TILE] = tile if square & some else nowhere


@_kernel
def _try_squares(faces, count, width, cells):  # type: ignore[no-untyped-def]
    """Try four centres for each of `count` faces; returns how many lie inside, listed in `cells`."""
    for k in range(count, _LANES):
        faces[k + _ROW1] = Single(-1)
    wide = Single(width)
    for k in range(_LANES):
        x0, y0, z0 = faces[k + _X0], faces[k + _Y0], faces[k + _Z0]
        x1, y1, z1 = faces[k + _X1], faces[k + _Y1], faces[k + _Z1]
        x2, y2, z2 = faces[k + _X2], faces[k + _Y2], faces[k + _Z2]
        y, x = faces[k + _ROW0], faces[k + _COLUMN0]
        row1, column1 = faces[k + _ROW1], faces[k + _COLUMN1]
        inverse = Single(1) / ((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0))
        u = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) * inverse
        v = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) * inverse
        w = Single(1) - u - v
        inside = (u >= 0) & (v >= 0) & (w > 0) & (y < row1)
        faces[k + _DEPTH] = u * z0 + v * z1 + w * z2
        faces[k + _CELL] = y * wide + x if inside else Single(-1)
        x = x + Single(1)
        u = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) * inverse
        v = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) * inverse
        w = Single(1) - u - v
        inside = (u >= 0) & (v >= 0) & (w > 0) & (y < row1) & (x < column1)
        faces[k + (_DEPTH + _LANES)] = u * z0 + v * z1 + w * z2
        faces[k + (_CELL + _LANES)] = y * wide + x if inside else Single(-1)
        y = y + Single(1)
        u = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) * inverse
        v = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) * inverse
        w = Single(1) - u - v
        inside = (u >= 0) & (v >= 0) & (w > 0) & (y < row1) & (x < column1)
        faces[k + (_DEPTH + 2 * _LANES)] = u * z0 + v * z1 + w * z2
        faces[k + (_CELL + 2 * _LANES)] = y * wide + x if inside else Single(-1)
        x = x - Single(1)
        u = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) * inverse
        v = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) * inverse
        w = Single(1) - u - v
        inside = (u >= 0) & (v >= 0) & (w > 0) & (y < row1)
        faces[k + (_DEPTH + 3 * _LANES)] = u * z0 + v * z1 + w * z2
        faces[k + (_CELL + 3 * _LANES)] = y * wide + x if inside else Single(-1)
    # Unsigned counts, here and below: a signed one is tested for counting from the end at every use.
    n = np.uint64(0)
    for i in range(_CELLS):
        cells[n] = i
        n += np.uint64(1) if faces[_CELL + i] >= 0 else np.uint64(0)
    return np.int64(n)


@_kernel
def _queue(seen, k, queue, n, row, column):  # type: ignore[no-untyped-def]
    """Put one square of a face at the end of the queue."""
    for i in range(0, _CELL, _LANES):
        queue[n + i] = seen[k + i]
    queue[n + _ROW0], queue[n + _COLUMN0] = row, column


@_kernel
def _walk_rows(seen, k, width, low, high, column, height):  # type: ignore[no-untyped-def]
    """Columns whose centre lies in a large face, and its height there; returns how many."""
    x0, y0, z0 = seen[k + _X0], seen[k + _Y0], seen[k + _Z0]
    x1, y1, z1 = seen[k + _X1], seen[k + _Y1], seen[k + _Z1]
    x2, y2, z2 = seen[k + _X2], seen[k + _Y2], seen[k + _Z2]
    if y1 < y0:
        x0, x1, y0, y1, z0, z1 = x1, x0, y1, y0, z1, z0
    if y2 < y0:
        x0, x2, y0, y2, z0, z2 = x2, x0, y2, y0, z2, z0
    if y2 < y1:
        x1, x2, y1, y2, z1, z2 = x2, x1, y2, y1, z2, z1
    twice = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    slope_x = ((z1 - z0) * (y2 - y0) - (z2 - z0) * (y1 - y0)) / twice
    slope_y = ((x1 - x0) * (z2 - z0) - (x2 - x0) * (z1 - z0)) / twice
    # A sliver so thin that its slope overflows has no height.
    if not (abs(slope_x) + abs(slope_y) < Single(1e25)):
        return 0
    z_low = min(z0, min(z1, z2))
    z_high = max(z0, max(z1, z2))
    long_edge = (x2 - x0) / (y2 - y0)
    lower_edge = (x1 - x0) / (y1 - y0) if y1 > y0 else Single(0)
    upper_edge = (x2 - x1) / (y2 - y1) if y2 > y1 else Single(0)
    n = np.uint64(0)
    for q in range(np.int64(seen[k + _ROW0]), np.int64(seen[k + _ROW1])):
        y = Single(q)
        xa = x0 + (y - y0) * long_edge
        xb = x0 + (y - y0) * lower_edge if y < y1 else x1 + (y - y1) * upper_edge
        start = max(np.int64(np.ceil(min(xa, xb))), low[q])
        stop = min(np.int64(np.ceil(max(xa, xb))), high[q])
        z = z0 + slope_y * (y - y0) - slope_x * x0
        for g in range(start, stop):
            column[n] = q * width + g
            # Steep faces: rounding must not carry the height beyond the triangle's own.
            plane = min(max(z + slope_x * Single(g), z_low), z_high)
            height[n] = plane
            # (The test, always true, keeps the compiler from preparing eight columns at a time, which
            # costs more than the two or three there are.)
            n += np.uint64(1) if plane < _FAR else np.uint64(0)
    return np.int64(n)


@_kernel
def _flag(  # type: ignore[no-untyped-def]
    seen, count, face0, areas, angles, lowest, row0, row1, near, partial
):
    """Find which faces of a block need holding up, weigh them, and add up their areas and moments."""
    fade_from, fade_to, sharp, level, limit = angles[0], angles[1], angles[2], angles[3], angles[4]
    third = Single(1.0 / 3.0)
    from_row, to_row = Single(row0), Single(row1)
    on_bed = lowest + Single(ON_BED_MM)
    n = np.uint64(0)
    for k in range(count):
        down = seen[k + _JUDGED]
        near[n] = k
        n += np.uint64(1) if (down > fade_to) & (down < fade_from) else np.uint64(0)
        seen[k + _WEIGHT] = Single(1)
    for i in range(np.int64(n)):
        fading = np.uint64(near[i])
        angle = Single(math.degrees(math.asin(-seen[fading + _JUDGED])))
        seen[fading + _WEIGHT] = (angle - (limit - Single(FADE_DEG))) / Single(2 * FADE_DEG)
    for k in range(count):
        down, weight = seen[k + _JUDGED], seen[k + _WEIGHT]
        flagged = (down < fade_from) & ((down > level) | (seen[k + _TOP] > on_bed))
        y = (seen[k + _Y0] + seen[k + _Y1] + seen[k + _Y2]) * third
        area = areas[face0 + k] if flagged & (y >= from_row) & (y < to_row) else 0.0
        shadow = -seen[k + _FACING] * area
        moment = shadow * ((seen[k + _Z0] + seen[k + _Z1] + seen[k + _Z2]) * third - lowest)
        counts = down < sharp
        # A sum in every lane: one for all would wait for itself at every face.
        partial[k] += weight * shadow
        partial[k + _LANES] += weight * moment
        partial[k + 2 * _LANES] += area if counts else 0.0
        partial[k + 3 * _LANES] += shadow if counts else 0.0
        partial[k + 4 * _LANES] += moment if counts else 0.0
        # The sign of the weight says whether the face also counts sharply.
        seen[k + _WEIGHT] = weight if counts else -weight
        seen[k + _KIND] = seen[k + _KIND] if flagged else Single(_NONE)
        seen[k + _HERE] = Single(1) if area > 0.0 else Single(0)


@_kernel
def _count_tags(seen, count, face0, areas, tags, lowest, out):  # type: ignore[no-untyped-def]
    """Add up the faces that carry a tag, and mark those that hold themselves up."""
    for k in range(count):
        tag = tags[face0 + k]
        if tag == 0:
            continue
        signed = seen[k + _WEIGHT]
        weight = np.float64(abs(signed))
        here = seen[k + _HERE] > 0
        if tag >= FREE:
            tag -= FREE
            seen[k + _WEIGHT] = signed + Single(2) if signed > 0 else signed - Single(2)
            if here:
                shadow = -seen[k + _FACING] * areas[face0 + k]
                mean = (seen[k + _Z0] + seen[k + _Z1] + seen[k + _Z2]) * Single(1.0 / 3.0)
                moment = shadow * (mean - lowest)
                out[F_W_AREA] += weight * shadow
                out[F_W_MOMENT] += weight * moment
                if signed > 0:
                    out[F_SHADOW] += shadow
                    out[F_MOMENT] += moment
        if here and signed > 0 and tag > 0:
            out[SUMS + tag - 1] += areas[face0 + k]


@_kernel
def _hang(  # type: ignore[no-untyped-def]
    faces, count, width, cells, hits, head, hit_column, hit_height, hit_weight, hit_next
):
    """Paint squares; returns the number of points, or −n − 1 when there was no room beyond n."""
    n = _try_squares(faces, count, width, cells)
    if hits + n > hit_column.shape[0]:
        return -hits - 1
    for j in range(n):
        i = np.int64(cells[j])
        at = np.uint64(np.int64(faces[np.uint64(_CELL + i)]))
        hit = np.uint64(hits)
        hit_column[hit] = np.int32(at)
        hit_height[hit] = faces[np.uint64(_DEPTH + i)]
        hit_weight[hit] = faces[np.uint64(_WEIGHT + (i & (_LANES - 1)))]
        hit_next[hit] = head[at]
        head[at] = np.int32(hits)
        hits += 1
    return hits


@_kernel
def _paint(  # type: ignore[no-untyped-def]
    lanes, runs, first, areas, tags, r, width, row0, row1, shift, tiles, angles, lowest,
    seen, queue, sight, some, near, large, cells, partial, head, all_low, all_high, column, height,
    hit_column, hit_height, hit_weight, hit_next, out,
):  # fmt: skip
    """Paint the faces that may need holding up into the columns.

    Returns the number of points, or −n − 1 when there was no room beyond n.
    """
    half = Single(width * 0.5)
    blocks = first.shape[0] - 1
    # Typed: the compiler makes a version of its own for every plain number.
    hits, queued, full = np.int64(0), np.int64(0), np.int64(_LANES)
    for i in range(5 * _LANES):
        partial[i] = 0.0
    for run in range(runs.shape[0]):
        _see_run(runs[run], r, half, sight)
        taken = np.uint64(0)
        for lane in range(min(_LANES, blocks - run * _LANES)):
            some[taken] = lane
            here = (sight[lane + _BACK1] >= row0) & (sight[lane + _BACK0] <= row1)
            taken += np.uint64(1) if here & (sight[lane + _DOWNMOST] < angles[0]) else np.uint64(0)
        for i in range(np.int64(taken)):
            block = run * _LANES + some[i]
            face0 = first[block]
            count = first[block + 1] - face0
            _see(lanes, block, count, r, half, row0, row1, shift, tiles, Single(-3), seen)
            _flag(seen, count, face0, areas, angles, lowest, row0, row1, near, partial)
            if tags.shape[0] > 0:
                _count_tags(seen, count, face0, areas, tags, lowest, out)
            squares, n_near, n_large = 0, np.uint64(0), np.uint64(0)
            for lane in range(count):
                kind = seen[lane + _KIND]
                near[n_near] = lane
                large[n_large] = lane
                squares += 1 if kind == _SQUARE else 0
                n_near += np.uint64(1) if kind > _NONE else np.uint64(0)
                n_large += np.uint64(1) if kind > _SQUARE else np.uint64(0)
            where_they_stand = squares > _MANY
            for j in range(np.int64(n_large if where_they_stand else n_near)):
                k = np.uint64(large[j] if where_they_stand else near[j])
                if seen[k + _KIND] == _LARGE:
                    points = _walk_rows(seen, k, width, all_low, all_high, column, height)
                    if hits + points > hit_column.shape[0]:
                        return -hits - 1
                    for point in range(points):
                        at, hit = np.uint64(column[point]), np.uint64(hits)
                        hit_column[hit] = column[point]
                        hit_height[hit] = height[point]
                        hit_weight[hit] = seen[k + _WEIGHT]
                        hit_next[hit] = head[at]
                        head[at] = np.int32(hits)
                        hits += 1
                    continue
                q = seen[k + _ROW0]
                while q < seen[k + _ROW1]:
                    g = seen[k + _COLUMN0]
                    while g < seen[k + _COLUMN1]:
                        _queue(seen, k, queue, np.uint64(queued), q, g)
                        queued += 1
                        g += Single(2)
                        if queued == full:
                            queued = np.int64(0)
                            hits = _hang(
                                queue, full, width, cells, hits, head,
                                hit_column, hit_height, hit_weight, hit_next,
                            )  # fmt: skip
                            if hits < 0:
                                return hits
                    q += Single(2)
            if where_they_stand:
                for lane in range(count):
                    square = seen[lane + _KIND] == _SQUARE
                    seen[lane + _ROW1] = seen[lane + _ROW1] if square else Single(-1)
                hits = _hang(
                    seen, count, width, cells, hits, head, hit_column, hit_height, hit_weight, hit_next
                )
                if hits < 0:
                    return hits
    for i in range(5):
        total = 0.0
        for j in range(_LANES):
            total += partial[i * _LANES + j]
        out[W_AREA + i] = total
    return _hang(queue, queued, width, cells, hits, head, hit_column, hit_height, hit_weight, hit_next)


@_kernel
def _map_tiles(  # type: ignore[no-untyped-def]
    hits,
    hit_column,
    hit_height,
    width,
    row0,
    row1,
    shift,
    tiles,
    tile_top,
    row_low,
    row_high,
    below,
    below_face,
):
    """Map how high the part was painted, tile by tile: what lies above all of it need not be dropped.

    Each tile in the end holds the highest of itself and its neighbours behind and beside it, so that one
    look covers any square of two columns that begins in it.
    """
    u0, u1 = row0 >> shift, ((row1 + (1 << shift) - 1) >> shift) + 1
    for tile in range(u0 * tiles, (u1 + 1) * tiles):
        tile_top[tile] = -_FAR
    a_row = 1.0 / width
    for i in range(hits):
        row = np.int64((hit_column[i] + 0.5) * a_row)
        along = hit_column[i] - row * width
        at = np.uint64((row >> shift) * tiles + (along >> shift))
        tile_top[at] = hit_height[i] if hit_height[i] > tile_top[at] else tile_top[at]
    for i in range(hits):
        below[i] = -_FAR
        below_face[i] = -1
    for u in range(u0, u1):
        low, high = 0, tiles
        while low < high and tile_top[np.uint64(u * tiles + low)] == -_FAR:
            low += 1
        while high > low and tile_top[np.uint64(u * tiles + high - 1)] == -_FAR:
            high -= 1
        for q in range(u << shift, min((u + 1) << shift, width)):
            row_low[q] = low << shift
            row_high[q] = min(high << shift, width)
    for tile in range(u0 * tiles, u1 * tiles - 1):
        a, b = tile_top[tile], tile_top[tile + 1]
        c, d = tile_top[tile + tiles], tile_top[tile + tiles + 1]
        a = a if a > b else b
        c = c if c > d else d
        tile_top[tile] = a if a > c else c
    # Where the larger faces look, which have more than one tile to ask.
    tile_top[tiles * tiles] = _FAR


@_kernel
def _under_paint(tile_top, tiles, low, u0, u1, v0, v1):  # type: ignore[no-untyped-def]
    """Whether something was painted above a height over any of these tiles."""
    for u in range(u0, u1 + 1, 2):
        for v in range(v0, v1 + 1, 2):
            if tile_top[np.uint64(u * tiles + v)] > low:
                return True
    return False


@_kernel
def _catch(  # type: ignore[no-untyped-def]
    faces, count, width, cells, of_face, touching, head, hit_height, hit_next, below, below_face
):
    """Let squares catch the painted points above them."""
    n = _try_squares(faces, count, width, cells)
    for j in range(n):
        i = np.int64(cells[j])
        z = faces[np.uint64(_DEPTH + i)]
        hit = head[np.uint64(np.int64(faces[np.uint64(_CELL + i)]))]
        while hit >= 0:
            at = np.uint64(hit)
            if (z < hit_height[at] - touching) & (z > below[at]):
                below[at] = z
                below_face[at] = of_face[i & (_LANES - 1)]
            hit = hit_next[at]


@_kernel
def _drop(  # type: ignore[no-untyped-def]
    lanes, runs, first, r, width, row0, row1, shift, tiles, landing, touching,
    seen, queue, sight, some, near, large, cells, lane_face, queue_face, head, row_low, row_high,
    tile_top, column, height, hit_height, hit_next, below, below_face,
):  # fmt: skip
    """Give every painted point the highest surface below it that a support can land on."""
    half = Single(width * 0.5)
    blocks = first.shape[0] - 1
    queued, full = np.int64(0), np.int64(_LANES)
    for run in range(runs.shape[0]):
        _see_run(runs[run], r, half, sight)
        taken = np.uint64(0)
        for lane in range(min(_LANES, blocks - run * _LANES)):
            some[taken] = lane
            here = (sight[lane + _BACK1] >= row0) & (sight[lane + _BACK0] <= row1)
            taken += np.uint64(1) if here & (sight[lane + _UPMOST] > landing) else np.uint64(0)
        for i in range(np.int64(taken)):
            one = np.int64(some[i])
            u0 = max(np.int64(sight[one + _BACK0]), row0) >> shift
            u1 = min(np.int64(sight[one + _BACK1]), row1) >> shift
            v0 = max(np.int64(sight[one + _ACROSS0]), 0) >> shift
            v1 = min(np.int64(sight[one + _ACROSS1]), width) >> shift
            if not _under_paint(tile_top, tiles, sight[one + _BOTTOM], u0, u1, v0, v1):
                continue
            block = run * _LANES + one
            face0 = first[block]
            count = first[block + 1] - face0
            _see(lanes, block, count, r, half, row0, row1, shift, tiles, landing, seen)
            n_near = np.uint64(0)
            for lane in range(count):
                near[n_near] = lane
                top = tile_top[np.uint64(np.int64(seen[lane + _TILE]))]
                n_near += np.uint64(1) if seen[lane + _LOW] < top else np.uint64(0)
            squares, n_large = 0, np.uint64(0)
            for j in range(np.int64(n_near)):
                square = seen[np.uint64(near[j] + _KIND)] == _SQUARE
                large[n_large] = near[j]
                squares += 1 if square else 0
                n_large += np.uint64(0) if square else np.uint64(1)
            where_they_stand = squares > _MANY
            for j in range(np.int64(n_large if where_they_stand else n_near)):
                face = np.int64(large[j] if where_they_stand else near[j])
                k = np.uint64(face)
                if seen[k + _KIND] == _LARGE:
                    v0, v1 = np.int64(seen[k + _COLUMN0]), np.int64(seen[k + _COLUMN1]) - 1
                    u0, u1 = np.int64(seen[k + _ROW0]), np.int64(seen[k + _ROW1]) - 1
                    if not _under_paint(
                        tile_top, tiles, seen[k + _LOW], u0 >> shift, u1 >> shift, v0 >> shift, v1 >> shift
                    ):
                        continue
                    points = _walk_rows(seen, k, width, row_low, row_high, column, height)
                    for point in range(points):
                        z = height[point]
                        hit = head[np.uint64(column[point])]
                        while hit >= 0:
                            at = np.uint64(hit)
                            if (z < hit_height[at] - touching) & (z > below[at]):
                                below[at] = z
                                below_face[at] = face0 + face
                            hit = hit_next[at]
                    continue
                q = seen[k + _ROW0]
                while q < seen[k + _ROW1]:
                    g = seen[k + _COLUMN0]
                    while g < seen[k + _COLUMN1]:
                        tile = (np.int64(q) >> shift) * tiles + (np.int64(g) >> shift)
                        if tile_top[np.uint64(tile)] > seen[k + _LOW]:
                            _queue(seen, k, queue, np.uint64(queued), q, g)
                            queue_face[queued] = face0 + face
                            queued += 1
                        g += Single(2)
                        if queued == full:
                            queued = np.int64(0)
                            _catch(
                                queue, full, width, cells, queue_face, touching,
                                head, hit_height, hit_next, below, below_face,
                            )  # fmt: skip
                    q += Single(2)
            if where_they_stand:
                for lane in range(count):
                    square = seen[lane + _KIND] == _SQUARE
                    seen[lane + _ROW1] = seen[lane + _ROW1] if square else Single(-1)
                    lane_face[lane] = face0 + lane
                _catch(
                    seen, count, width, cells, lane_face, touching,
                    head, hit_height, hit_next, below, below_face,
                )  # fmt: skip
    _catch(
        queue, queued, width, cells, queue_face, touching, head, hit_height, hit_next, below, below_face
    )  # fmt: skip


@_kernel
def _add_up(  # type: ignore[no-untyped-def]
    hits, lowest, normals, tags, r, partial, head,
    hit_column, hit_height, hit_weight, below, below_face, out,
):  # fmt: skip
    """Add up the gaps under the painted points, and leave the columns clean for the next pose."""
    for i in range(hits):
        head[np.uint64(hit_column[i])] = -1
    for i in range(10 * _LANES):
        partial[i] = 0.0
    # The hit arrays end on a whole number of lanes; points without weight fill the last.
    for i in range(hits, (hits + _LANES - 1) // _LANES * _LANES):
        hit_height[i] = below[i] = hit_weight[i] = Single(0)
    for base in range(0, hits, _LANES):
        heights, belows, weights = hit_height[base:], below[base:], hit_weight[base:]
        for k in range(_LANES):
            top, under, signed = heights[k], belows[k], weights[k]
            h = np.float64(top - lowest)
            gap = np.float64(top - under) if under > -_FAR else h
            size = abs(signed)
            # Faces that hold themselves up have two more.
            weight = np.float64(size - Single(2) if size > Single(1.5) else size)
            sharp = 1.0 if signed > 0 else 0.0
            partial[k] += weight
            partial[k + _LANES] += weight * gap
            partial[k + 2 * _LANES] += weight * h
            partial[k + 3 * _LANES] += weight * h * h
            partial[k + 4 * _LANES] += weight * gap * h
            partial[k + 5 * _LANES] += sharp
            partial[k + 6 * _LANES] += sharp * gap
            partial[k + 7 * _LANES] += sharp * h
            partial[k + 8 * _LANES] += sharp * h * h
            partial[k + 9 * _LANES] += sharp * gap * h
    for i in range(10):
        total = 0.0
        for k in range(_LANES):
            total += partial[i * _LANES + k]
        out[W_HITS + i] = total
    on_part = scar = 0.0
    for i in range(hits):
        face = below_face[i]
        signed = hit_weight[i]
        if (face >= 0) & (signed > 0):
            on_part += np.float64(hit_height[i] - below[i])
            f = np.uint64(face)
            up = abs(normals[f, 0] * r[6] + normals[f, 1] * r[7] + normals[f, 2] * r[8])
            landed = 1.0 / max(np.float64(up), 0.05)
            scar += landed
            if tags.shape[0] > 0 and tags[f] & (FREE - 1) > 0:
                out[SUMS + TAGS + (tags[f] & (FREE - 1)) - 1] += landed
        if abs(signed) > Single(1.5):
            h = np.float64(hit_height[i] - lowest)
            gap = h if face < 0 else np.float64(hit_height[i] - below[i])
            weight = np.float64(abs(signed)) - 2.0
            out[F_W_HITS] += weight
            out[F_W_GAP] += weight * gap
            out[F_W_HEIGHT] += weight * h
            out[F_W_HEIGHT2] += weight * h * h
            out[F_W_GAP_HEIGHT] += weight * gap * h
            if signed > 0:
                out[F_HITS] += 1.0
                out[F_GAP] += gap
                out[F_HEIGHT] += h
                out[F_HEIGHT2] += h * h
                out[F_GAP_HEIGHT] += gap * h
    out[GAP_ON_PART] = on_part
    out[SCAR] = scar
