"""Placing by bearing and distance against pyproj's geodesics and ground whose shape is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pyproj import Geod

from graylight.errors import BadInput
from graylight.grid import Grid, LonLat, distance_m
from graylight.sight.placing import Errors, Eye, place_by_angle, place_by_distance
from graylight.sight.viewshed import bend

GEOD = Geod(ellps="WGS84")
GRID = Grid.of(
    482_000.0, 4_360_000.0, 10.0, 420, 400, "EPSG:32612"
)  # the meridian 111 W runs outside: convergence
ERRORS = Errors(bearing_deg=2.0, distance_m=40.0, angle_deg=0.2)


def plane(north_slope: float = 0.0, east_slope: float = 0.0, level_m: float = 3000.0) -> np.ndarray:
    rows, cols = np.mgrid[0:420, 0:400].astype(np.float64)
    return (level_m + (209.5 - rows) * 10.0 * north_slope + (cols - 199.5) * 10.0 * east_slope).astype(
        np.float32
    )


def eye(elevation, eye_m=0.0, refraction=1.0, at=None):
    """Refraction 1 bends the ray as the earth: then the plane is a plane."""
    return Eye(at or GRID.lonlat(209.5, 199.5), elevation, GRID, eye_m, refraction)


@pytest.mark.parametrize("bearing", [0.0, 17.0, 90.0, 123.4, 243.0, 359.0])
def test_on_level_ground_it_is_the_geodesic(bearing):
    """pyproj.Geod.fwd on WGS 84, to a centimetre."""
    got = place_by_distance(eye(plane()), bearing, 1234.0, ERRORS)
    here = GRID.lonlat(209.5, 199.5)
    lon, lat, _ = GEOD.fwd(here.lon, here.lat, bearing, 1234.0)
    assert distance_m(got.place, LonLat(lon, lat)) < 0.01
    assert got.distance_m == pytest.approx(1234.0, abs=0.01)
    back, _, away = GEOD.inv(here.lon, here.lat, got.place.lon, got.place.lat)
    assert back % 360.0 == pytest.approx(bearing, abs=1e-3)
    assert away == pytest.approx(1234.0, abs=0.01)


def test_a_range_finder_measures_along_the_slope():
    """On ground that rises 3 in 4 to the north, 1000 m along the slope are 800 m on the map (a 3-4-5 triangle)."""
    got = place_by_distance(eye(plane(north_slope=0.75)), GRID.convergence_deg(), 1000.0, ERRORS)
    assert got.distance_m == pytest.approx(800.0, abs=1.0)
    assert got.height_m == pytest.approx(3600.0, abs=1.0)
    assert got.along_m == pytest.approx(40.0 * 0.8, rel=1e-3)


def test_the_ellipse_is_as_wide_as_the_bearing_is_wrong():
    got = place_by_distance(eye(plane()), 90.0, 1000.0, ERRORS)
    assert got.across_m == pytest.approx(1000.0 * math.tan(math.radians(2.0)), rel=1e-3)
    assert got.along_m == pytest.approx(40.0)


def test_a_ray_meets_a_plane_where_geometry_says():
    """An eye 50 m above level ground, 2 degrees down: 50 / tan 2 away; its error by the angles 0.2 more and less."""
    got = place_by_angle(eye(plane(), eye_m=50.0), 200.0, -2.0, ERRORS)
    assert got.distance_m == pytest.approx(50.0 / math.tan(math.radians(2.0)), abs=0.5)
    far, near = (50.0 / math.tan(math.radians(a)) for a in (1.8, 2.2))
    assert got.along_m == pytest.approx((far - near) / 2.0, abs=0.5)


def test_curvature_and_refraction_lower_what_is_far():
    """With the usual refraction the ground falls by (1 - k) d^2 / 2R: on a level plane the ray meets it nearer."""
    flat = place_by_angle(eye(plane(), eye_m=50.0), 200.0, -2.0, ERRORS)
    bent = place_by_angle(eye(plane(), eye_m=50.0, refraction=1 / 7), 200.0, -2.0, ERRORS)
    fall = bend(1 / 7) * bent.distance_m**2
    assert bent.distance_m == pytest.approx((50.0 + fall) / math.tan(math.radians(2.0)), abs=0.5)
    assert bent.distance_m != pytest.approx(flat.distance_m, abs=1e-3)


def test_a_placed_sighting_lies_within_its_ellipse_as_often_as_it_should():
    """Monte Carlo: bearing and distance with normal errors, 39 % within one standard deviation (2-d normal: 1 - e^-1/2)."""
    rng = np.random.default_rng(7)
    errors = Errors(bearing_deg=3.0, distance_m=80.0)
    here = eye(plane())
    true = place_by_distance(here, 60.0, 1500.0, errors)
    inside = 0
    for _ in range(600):
        got = place_by_distance(here, 60.0 + rng.normal(0, 3.0), 1500.0 + rng.normal(0, 80.0), errors)
        azimuth, _, away = GEOD.inv(got.place.lon, got.place.lat, true.place.lon, true.place.lat)
        turned = math.radians(azimuth - got.bearing_true_deg)
        along, across = away * math.cos(turned), away * math.sin(turned)
        inside += (along / got.along_m) ** 2 + (across / got.across_m) ** 2 <= 1.0
    share = 1.0 - math.exp(-0.5)
    assert abs(inside / 600 - share) < 4 * math.sqrt(share * (1 - share) / 600)


def test_ground_behind_a_ridge_is_said_to_be_hidden():
    wall = plane()
    wall[150, :] = 3100.0
    got = place_by_distance(eye(wall, eye_m=1.0), 0.0, 1000.0, ERRORS)
    assert got.hidden_m > 50.0
    assert place_by_distance(eye(wall, eye_m=1.0), 180.0, 1000.0, ERRORS).hidden_m < 0.5


def test_a_ray_into_the_sky_and_a_distance_beyond_the_country_are_refused():
    with pytest.raises(BadInput, match="meets no ground") as ray:
        place_by_angle(eye(plane(), eye_m=2.0), 10.0, 5.0, ERRORS)
    with pytest.raises(BadInput, match="meets no ground") as far:
        place_by_distance(eye(plane()), 10.0, 9000.0, ERRORS)
    with pytest.raises(BadInput, match="meets no ground"):
        place_by_distance(eye(plane()), 10.0, math.nan, ERRORS)
    assert "\n" not in str(ray.value) + str(far.value)


def test_unknown_ground_ends_the_ray_and_a_watcher_on_it_is_refused():
    holed = plane()
    holed[:150, :] = np.nan
    with pytest.raises(BadInput, match="known ground ends after"):
        place_by_distance(eye(holed), 0.0, 1000.0, ERRORS)
    holed[205:215, 195:205] = np.nan
    with pytest.raises(BadInput, match="no ground is known"):
        place_by_distance(eye(holed), 0.0, 100.0, ERRORS)
