"""Terrain: posts of made-up tiles found again; bilinear exact on planes; the corridor misses no post, and says what it lacks."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput, OutOfRange
from ownship.units import to_si
from ownship.world.geodesy import along, direct, inverse
from ownship.world.terrain import VOID, Terrain, check_posts, heights_m, highest_m, profile, tile_corner, tile_name, tile_side

NM5 = float(to_si(5, "nm"))


def flat(height=100, side=1201):
    return np.full((side, side), height, dtype=">i2")


def plane(side=1201):
    """Height = row + column: bilinear gives it back exactly between the posts too."""
    return np.add.outer(np.arange(side), np.arange(side)).astype(">i2")


def of(tiles):
    return Terrain(lambda south, west: tiles.get((south, west)), "made for the test")


def post(corner, i, j, side=1201):
    """Position of row i (from the north), column j."""
    return corner[0] + 1 - i / (side - 1), corner[1] + j / (side - 1)


# ---- names and bytes


@pytest.mark.parametrize(("name", "corner"), [
    # the convention of the tiles: named for the south-west corner (SRTM collection user guide, from memory)
    ("N43W116", (43, -116)), ("N00E006", (0, 6)), ("S01W001", (-1, -1)), ("S34E151", (-34, 151)), ("N89E179", (89, 179)),
    ("S90W180", (-90, -180))])
def test_a_tile_is_named_for_its_south_west_corner(name, corner):
    assert tile_corner(name) == corner
    assert tile_corner(name.lower()) == corner
    assert tile_name(*corner) == name


@pytest.mark.parametrize("name", ["", "N43", "N43W1166", "N90E000", "S91E000", "N43E180", "N43W181", "S00E000", "N00W000", "N4aW116",
                                  "N٤٣W116", "../N43W116", "N43W116.hgt"])
def test_another_name_is_refused_in_a_sentence(name):
    with pytest.raises(BadInput, match=r"N43W116.*\.$"):
        tile_corner(name)


def test_sizes():
    # 1201 x 1201 x 2 and 3601 x 3601 x 2 bytes: the sizes of 3 and 1 second tiles
    assert tile_side("x", 2_884_802) == 1201
    assert tile_side("x", 25_934_402) == 3601
    for size in (0, 2_884_801, 2_884_800):
        with pytest.raises(BadInput, match="2,884,802"):
            tile_side("N43W116", size)


def test_bytes_the_wrong_way_round_are_noticed_and_so_is_a_tile_of_voids():
    good = flat(3000)
    check_posts("N43W116", good)
    with pytest.raises(BadInput, match="wrong order"):
        check_posts("N43W116", good.byteswap())
    with pytest.raises(BadInput, match="only voids"):
        check_posts("N43W116", flat(VOID))


# ---- heights at points


PLANE = of({(43, -116): plane()})


@given(i=st.floats(0, 1200), j=st.floats(0, 1200))
def test_bilinear_is_exact_on_a_plane(i, j):
    lat, lon = post((43, -116), i, j)
    assert heights_m(PLANE, lat, lon) == pytest.approx(i + j, abs=1e-5)


def test_bilinear_between_four_posts_by_hand():
    tile = flat(0)
    tile[600, 600], tile[600, 601], tile[601, 600], tile[601, 601] = 10, 20, 40, 80
    lat, lon = post((43, -116), 600.25, 600.5)
    assert heights_m(of({(43, -116): tile}), lat, lon) == pytest.approx(0.75 * 15 + 0.25 * 60)


def test_north_is_the_first_row_and_west_the_first_column():
    tile = flat(0)
    tile[0, 0], tile[-1, -1] = 7, 9
    terrain = of({(43, -116): tile})
    assert heights_m(terrain, [44.0, 43.0], [-116.0, -115.0]).tolist() == [7.0, 9.0]


def test_nothing_is_known_at_a_void_beside_it_or_without_a_tile_and_a_post_beside_a_void_is():
    tile = flat(100)
    tile[600, 600] = VOID
    at = [post((43, -116), *x) for x in ((600, 600), (600.5, 600.5), (600, 600.01), (601, 600), (600, 601))]
    found = heights_m(of({(43, -116): tile}), [a for a, _ in at] + [50.0], [b for _, b in at] + [50.0])
    assert np.isnan(found).tolist() == [True, True, True, False, False, True]


def test_shapes_follow_the_arrays_and_a_position_off_the_earth_is_refused():
    terrain = of({(43, -116): flat()})
    assert heights_m(terrain, np.full((2, 1), 43.5), np.full((1, 3), -115.5)).shape == (2, 3)
    assert heights_m(terrain, 43.5, -115.5).shape == ()
    for lat, lon in ((90.1, 0), (0, 180.5), (math.nan, 0)):
        with pytest.raises(BadInput, match="position"):
            heights_m(terrain, lat, lon)


def test_tile_borders_have_no_seam_also_where_only_one_side_is_there_or_the_mesh_changes():
    west, fine = plane(), np.repeat(np.repeat(plane(1201), 3, 0), 3, 1)[:3601, :3601].astype(">i2")
    east = (plane() + 1200).astype(">i2")
    lats = np.linspace(43.01, 43.99, 50)
    for terrain in (of({(43, -116): west, (43, -115): east}), of({(43, -116): west}), of({(43, -115): east})):
        assert np.allclose(heights_m(terrain, lats, np.full(50, -115.0)), (44 - lats) * 1200 + 1200, atol=1e-6)
    both = of({(43, -116): west, (43, -115): east})
    a, b = (heights_m(both, lats, np.full(50, -115.0 + d)) for d in (-1e-7, 1e-7))
    assert np.allclose(a, b, atol=1e-3)
    mixed = of({(43, -116): west, (43, -115): fine})
    assert np.isfinite(heights_m(mixed, lats, np.full(50, -115.0))).all()


def test_the_antimeridian_is_one_line():
    terrain = of({(-17, 179): flat(50), (-17, -180): flat(50)})
    assert heights_m(terrain, [-16.5] * 2, [180.0, -180.0]).tolist() == [50.0, 50.0]


# ---- the highest in a corridor


@pytest.mark.parametrize("side", [1201, 3601])
def test_a_lone_peak_is_found_at_its_height_and_place(side):
    tile = flat(100, side)
    i, j = side // 2 + 1, side // 3
    tile[i, j] = 2345
    lat, lon = post((43, -116), i, j, side)
    found = highest_m(of({(43, -116): tile}), 43.5, -115.85, 43.5, -115.15, NM5)
    assert (found.highest_m, found.incomplete, found.missing_1, found.known_m) == (2345.0, False, 0.0, 2345.0)
    assert (found.lat_deg, found.lon_deg) == (pytest.approx(lat, abs=1e-9), pytest.approx(lon, abs=1e-9))


def test_a_synthetic_ridge_across_the_leg_is_found_at_its_height_by_any_width():
    tile = flat(100)
    tile[:, 700] = 1999
    for width in (0.0, 100.0, NM5):
        assert highest_m(of({(43, -116): tile}), 43.4321, -115.85, 43.5678, -115.15, width).known_m == 1999.0


@given(bearing=st.floats(0, 360), distance=st.floats(0, 30000), width=st.floats(0, 15000))
@settings(max_examples=60, deadline=None)
def test_a_peak_counts_by_its_geodesic_distance_from_the_leg(bearing, distance, width):
    """Distances of pyproj, to a leg along a meridian; the mesh's diagonal plus 25 m are the grey zone."""
    i, j = 600, 600
    lat, lon = post((43, -116), i, j)
    tile = flat(0)
    tile[i, j] = 3000
    start = direct(lat, lon, bearing, distance)[:2]
    end = direct(*start, 37.0, 12000.0)[:2]
    near = min(inverse(lat, lon, *along(*start, *end, d))[0] for d in np.linspace(0, 12000, 2001))
    neighbours = {(a, b): flat(0) for a in (42, 43, 44) for b in (-117, -116, -115)} | {(43, -116): tile}
    found = highest_m(of(neighbours), *start, *end, width).highest_m
    if near <= width:
        assert found == 3000.0
    elif near > width + 160:
        assert found == 0.0


def rough(seed=3, voids=0):
    rng = np.random.default_rng(seed)
    tile = rng.integers(0, 4000, (1201, 1201)).astype(">i2")
    for i, j in rng.integers(0, 1201, (voids, 2)):
        tile[i, j] = VOID
    return tile


ROUGH = of({(60, 10): rough(1), (60, 11): rough(2)})
inside = st.tuples(st.floats(60.2, 60.8), st.floats(10.4, 11.6))


@given(a=inside, b=inside, width=st.floats(0, 8000), part=st.floats(0, 1), aside=st.floats(-1, 1))
@settings(max_examples=60, deadline=None)
def test_the_highest_is_at_least_every_height_sampled_in_the_corridor(a, b, width, part, aside):
    distance, course, _ = inverse(*a, *b)
    lat, lon, course = direct(*a, course, distance * part)
    lat, lon, _ = direct(lat, lon, course + 90, width * aside)
    found = highest_m(ROUGH, *a, *b, width)
    assert not found.incomplete
    assert found.highest_m >= heights_m(ROUGH, lat, lon) - 1e-6
    cut = profile(ROUGH, *a, *b, width, 5000.0)
    assert cut.to_m[-1] == pytest.approx(distance) and cut.from_m[0] == 0
    here = (cut.from_m <= distance * part + 0.1) & (cut.to_m >= distance * part - 0.1)
    assert cut.highest_m[here].max() >= heights_m(ROUGH, lat, lon) - 1e-6
    assert cut.highest_m.max() <= found.highest_m


@given(a=inside, b=inside, width=st.floats(0, 8000), more=st.floats(0, 8000))
@settings(max_examples=30, deadline=None)
def test_a_wider_corridor_is_never_lower_nor_more_complete(a, b, width, more):
    terrain = of({(60, 10): rough(1, 30), (60, 11): rough(2, 30)})
    narrow, wide = (highest_m(terrain, *a, *b, w) for w in (width, width + more))
    assert wide.highest_m >= narrow.highest_m
    assert wide.incomplete >= narrow.incomplete


@given(a=inside, b=inside, width=st.floats(0, 8000))
@settings(max_examples=20, deadline=None)
def test_the_way_back_has_the_same_highest_ground(a, b, width):
    assert highest_m(ROUGH, *a, *b, width).highest_m == pytest.approx(highest_m(ROUGH, *b, *a, width).highest_m, abs=200)
    there, back = (profile(ROUGH, *x, *y, width, 1e4) for x, y in ((a, b), (b, a)))
    assert len(there.from_m) == len(back.from_m)


# ---- what is not known


def test_one_void_post_makes_the_corridor_incomplete_and_the_ground_not_known():
    tile = flat(100)
    tile[600, 400] = VOID
    found = highest_m(of({(43, -116): tile}), 43.5, -115.9, 43.5, -115.1, 1000.0)
    assert (found.highest_m, found.incomplete, found.known_m) == (100.0, True, None)
    assert 0 < found.missing_1 < 1e-3
    assert not highest_m(of({(43, -116): tile}), 43.6, -115.9, 43.6, -115.1, 1000.0).incomplete


@pytest.mark.parametrize("height", [-501, 9001, -9999, 32767])
def test_a_post_that_no_ground_has_is_not_known(height):
    tile = flat(100)
    tile[600, 400] = height
    found = highest_m(of({(43, -116): tile}), 43.5, -115.9, 43.5, -115.1, 1000.0)
    assert (found.highest_m, found.known_m) == (100.0, None)
    assert np.isnan(heights_m(of({(43, -116): tile}), *post((43, -116), 600, 400)))


def test_without_tiles_nothing_is_known_and_the_whole_share_is_missing():
    found = highest_m(of({}), 43.5, -115.9, 43.5, -115.1, NM5)
    assert (found.highest_m, found.lat_deg, found.lon_deg, found.missing_1, found.incomplete) == (None, None, None, 1.0, True)
    cut = profile(of({}), 43.5, -115.9, 43.5, -115.1, NM5, 5000.0)
    assert np.isnan(cut.highest_m).all() and cut.incomplete.all()


def test_the_share_without_data_is_that_of_the_area():
    """A leg of equal parts in two tiles, one missing: half, to the share of the rounded ends."""
    found = highest_m(of({(0, 10): flat(5)}), 0.5, 10.5, 0.5, 11.5, 2000.0)
    assert found.missing_1 == pytest.approx(0.5, abs=2e-3)
    found = highest_m(of({(0, 10): flat(5)}), 0.5, 10.25, 0.5, 11.25, 100.0)
    assert found.missing_1 == pytest.approx(0.25, abs=2e-3)


def test_a_missing_neighbour_counts_only_where_the_corridor_reaches_it():
    terrain = of({(43, -116): flat(100)})
    assert not highest_m(terrain, 43.9, -115.85, 43.9, -115.15, 10800.0).incomplete  # 11,111 m to the border
    assert highest_m(terrain, 43.9, -115.85, 43.9, -115.15, 11200.0).incomplete


def test_the_slice_with_the_void_is_the_one_that_is_not_known():
    tile = flat(100)
    tile[600, 600] = VOID
    cut = profile(of({(43, -116): tile}), 43.5, -115.9, 43.5, -115.1, 1000.0, 2000.0)
    middle = inverse(43.5, -115.9, 43.5, -115.5)[0]
    assert np.flatnonzero(cut.incomplete).tolist() == np.flatnonzero((cut.from_m < middle + 160) & (cut.to_m > middle - 160)).tolist()


# ---- legs that are no ordinary legs


def test_a_peak_beyond_the_antimeridian_is_found_from_both_sides():
    peak = flat(10)
    peak[600, 100] = 1111
    terrain = of({(-17, 179): flat(10), (-17, -180): peak})
    for leg in ((-16.5, 179.5, -16.5, -179.5), (-16.5, -179.5, -16.5, 179.5), (-16.5, 179.95, -16.5, 179.95)):
        found = highest_m(terrain, *leg, 20000.0)
        assert (found.known_m, found.lon_deg) == (1111.0, pytest.approx(-180 + 100 / 1200))


def test_two_ends_alike_are_a_circle():
    tile = flat(0)
    tile[600, 700], tile[600, 710] = 500, 900  # 100/1200 degree: 6.7 km at 43.5 N; the other 7.4 km
    found = highest_m(of({(43, -116): tile}), 43.5, -115.5, 43.5, -115.5, 6900.0)
    assert found.known_m == 500.0
    assert len(profile(of({(43, -116): tile}), 43.5, -115.5, 43.5, -115.5, 1000.0, 1000.0).highest_m) == 1


@pytest.mark.parametrize("leg", [(84.9, 0, 84.9, 10, 50000.0), (80, 0, 80, 180, 0.0), (-89, 0, -60, 0, 1000.0)])
def test_near_a_pole_is_outside_the_range(leg):
    with pytest.raises(OutOfRange, match="85 deg"):
        highest_m(of({}), *leg)


def test_widths_steps_and_positions_out_of_range_are_refused():
    for width in (-1.0, 2e5, math.nan):
        with pytest.raises(OutOfRange, match="Half width"):
            highest_m(of({}), 43.5, -115.9, 43.5, -115.1, width)
    for step in (0.0, 1e5, math.nan):
        with pytest.raises(OutOfRange, match="Step"):
            profile(of({}), 43.5, -115.9, 43.5, -115.1, 100.0, step)
    for leg in ((91, 0, 0, 0), (0, 181, 0, 0), (math.nan, 0, 0, 0)):
        with pytest.raises(BadInput, match="leg"):
            highest_m(of({}), *leg, 100.0)
