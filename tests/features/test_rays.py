"""Both engines of rays see the same."""

import numpy as np
import pytest
import trimesh

from orient.features.facing import facing, samples_of
from orient.features.rays import EmbreeScene, Rays
from orient.part.mesh import part_from_arrays, part_from_trimesh
from tests.features.gauges_walls import clearance, ligament, part_of, plate_walls, slots
from tests.features.score_walls import features_of

needs_embree = pytest.mark.skipif(EmbreeScene is None, reason="no wheel of embreex for this machine")


@needs_embree
@pytest.mark.parametrize("gauge", [plate_walls(), slots(), ligament(0.8, 16), clearance(0.2, 16)])
@pytest.mark.parametrize("spoil", ["float32", "noisy"])
def test_embree_and_the_r_tree_give_the_same_verdicts_and_sizes_within_a_hundredth(gauge, spoil):
    part = part_of(gauge.solid, spoil)
    one, other = features_of(part, engine="embree"), features_of(part, engine="rtree")
    assert [(f.kind, f.verdict) for f in one] == [(f.kind, f.verdict) for f in other]
    np.testing.assert_allclose([f.size_mm for f in one], [f.size_mm for f in other], atol=0.01)


@pytest.mark.parametrize("engine", [pytest.param("embree", marks=needs_embree), "rtree"])
def test_rays_hit_a_sphere_where_trimesh_says(engine):
    mesh = trimesh.creation.icosphere(subdivisions=3, radius=10)
    part = part_from_trimesh(mesh)
    rng = np.random.default_rng(5)
    way = rng.normal(size=(200, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    face, distance = Rays(part, engine).first_hits(np.zeros((200, 3)), way, 20.0)
    # Independent: trimesh's own ray caster, without Embree.
    caster = trimesh.ray.ray_triangle.RayMeshIntersector(trimesh.Trimesh(part.vertices, part.faces))
    place, ray, _ = caster.intersects_location(np.zeros((200, 3)), way, multiple_hits=False)
    expected = np.empty(200)
    expected[ray] = np.linalg.norm(place, axis=1)
    np.testing.assert_allclose(distance, expected, atol=1e-9)
    assert (face >= 0).all()


@pytest.mark.parametrize("engine", [pytest.param("embree", marks=needs_embree), "rtree"])
def test_a_ray_that_is_too_short_hits_nothing(engine):
    part = part_from_trimesh(trimesh.creation.box((10, 10, 10)))
    origin, way = np.array([[0.3, 0.2, 0.0]]), np.array([[0.0, 0.0, 1.0]])
    face, distance = Rays(part, engine).first_hits(origin, way, 4.0)
    assert face[0] == -1
    assert np.isinf(distance[0])
    assert Rays(part, engine).first_hits(origin[:0], way[:0], 4.0)[0].shape == (0,)


def test_samples_stand_for_the_whole_area_and_keep_its_centroid():
    part = part_from_trimesh(trimesh.creation.cylinder(radius=4, height=30, sections=17))
    samples = samples_of(part)
    assert samples.area.sum() == pytest.approx(part.area_mm2)
    centroid = part.areas @ part.centroids / part.area_mm2
    np.testing.assert_allclose(samples.area @ samples.point / samples.area.sum(), centroid, atol=1e-9)
    assert set(samples.face.tolist()) == set(range(len(part.faces)))


@pytest.mark.parametrize("angle_deg", [5.0, 15.0, 25.0])
def test_thickness_is_the_ball_that_touches_both_planes_of_a_wedge(angle_deg):
    # A wedge with its edge on x = 0: at distance x along one face the ball that touches that face there and
    # the other face too has the radius x·tan(φ/2) (the ball on the bisector; elementary geometry).
    height = 12 * np.tan(np.radians(angle_deg))
    corners = [(x, y, z) for y in (0, 20) for x, z in ((0, 0), (12, 0), (12, height))]
    part = part_from_trimesh(trimesh.convex.convex_hull(np.array(corners, dtype=float)))
    pairs = facing(part, samples_of(part), Rays(part), "wall", 3.0)
    below = part.normals[pairs.face] @ [0, 0, 1] < -0.99
    x = pairs.middle[below, 0]
    assert below.sum() > 100
    np.testing.assert_allclose(
        pairs.thickness[below], 2 * x * np.tan(np.radians(angle_deg / 2)), rtol=1e-9, atol=1e-6
    )


def test_wedges_beyond_30_degrees_are_no_walls():
    corners = [(x, y, z) for y in (0, 20) for x, z in ((0, 0), (12, 0), (12, 12 * np.tan(np.radians(35))))]
    part = part_from_trimesh(trimesh.convex.convex_hull(np.array(corners, dtype=float)))
    pairs = facing(part, samples_of(part), Rays(part), "wall", 3.0)
    ends = np.abs(part.normals[pairs.face][:, 1]) > 0.9
    assert len(pairs.face[~ends]) == 0


def test_thickness_agrees_with_trimesh():
    # Independent: trimesh.proximity.thickness, rays from the same points.
    part = part_of(plate_walls().solid, "turned")
    pairs = facing(part, samples_of(part), Rays(part), "wall", 3.2)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    chosen = np.arange(0, len(pairs.face), max(1, len(pairs.face) // 150))
    start = pairs.middle[chosen] + 0.5 * pairs.length[chosen, None] * pairs.normal[chosen]
    expected = trimesh.proximity.thickness(
        mesh, start, exterior=False, normals=pairs.normal[chosen], method="ray"
    )
    np.testing.assert_allclose(pairs.length[chosen], expected, atol=1e-4)


def test_an_inside_out_surface_is_told():
    box = trimesh.creation.box((10, 10, 10))
    inner = trimesh.creation.box((9, 9, 9))
    # Both shells look outward: the inner one lies inside the material. Joined by the reader, so drawn open.
    part = part_from_arrays(
        np.vstack([box.vertices, inner.vertices]), np.vstack([box.faces[:-1], inner.faces[:-1] + 8])
    )
    assert facing(part, samples_of(part), Rays(part), "wall", 3.0).confused > 0.05
    sound = part_of(plate_walls().solid)
    assert facing(sound, samples_of(sound), Rays(sound), "wall", 3.0).confused == 0.0
