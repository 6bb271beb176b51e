"""Terrain models from files that the test writes, against a surface that is known everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.scenario.terrain_file import read_terrain, terrain_files

rasterio = pytest.importorskip("rasterio")
pyproj = pytest.importorskip("pyproj")
UTM = "EPSG:32632"
CENTRE = pyproj.Transformer.from_crs(4326, UTM, always_xy=True).transform(7.02, 46.03)


def surface(x, y):
    """Height of the ground [m] at a place of the zone, a quadratic."""
    x, y = (x - CENTRE[0]) / 1000, (y - CENTRE[1]) / 1000
    return 400 + 30 * x - 20 * y + 8 * x * y + 5 * x**2


def write(path, *, crs=UTM, cell=10.0, west=-500.0, top=500.0, shape=(100, 100), factor=1.0,
          unit=None, height=surface, nodata=None, hole=None, **more):
    """Cells of heights; x and y in the plane of `crs`, the heights always by the zone's."""
    if crs == UTM:
        left, upper = CENTRE[0] + west, CENTRE[1] + top
    else:
        there = pyproj.Transformer.from_crs(UTM, crs, always_xy=True)
        left, upper = there.transform(CENTRE[0] + west, CENTRE[1] + top)
    transform = rasterio.transform.from_origin(left, upper, cell, cell)
    column, row = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)
    x, y = left + cell * column, upper - cell * row
    if crs != UTM:
        x, y = pyproj.Transformer.from_crs(crs, UTM, always_xy=True).transform(x, y)
    values = (height(x, y) / factor).astype("float32")
    if hole is not None:
        values[hole] = nodata
    with rasterio.open(path, "w", driver="GTiff", height=shape[0], width=shape[1], count=1,
                       dtype="float32", crs=crs, transform=transform, nodata=nodata,
                       **more) as file:
        file.write(values, 1)
        if unit:
            file.units = (unit,)
    return path


def places(n=200, reach=350.0, seed=1):
    """Random latitudes and longitudes about the centre, and their heights."""
    x, y = np.random.default_rng(seed).uniform(-reach, reach, (2, n)) + np.array(CENTRE)[:, None]
    longitude, latitude = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True).transform(x, y)
    return latitude, longitude, surface(x, y)


@pytest.mark.parametrize(("crs", "cell"), [
    (UTM, 10.0), ("EPSG:4326", 0.0001), ("EPSG:3035", 10.0), ("EPSG:3857", 12.0)])
def test_any_projection(tmp_path, crs, cell):
    """Places through PROJ by pyproj, in projections of the EPSG register."""
    path = write(tmp_path / "a.tif", crs=crs, cell=cell, shape=(130, 160))
    latitude, longitude, height = places(reach=300.0)
    model = read_terrain([path])
    assert model.at(latitude, longitude) == pytest.approx(height, abs=0.01)
    assert model.cell == pytest.approx({"EPSG:4326": 9.27, "EPSG:3857": 12 * 0.6955}.get(
        crs, 10.0), rel=0.01)


def test_tiles_join_without_a_seam(tmp_path):
    tiles = [write(tmp_path / f"{i}{j}.tif", west=-500 + 500 * j, top=500 - 500 * i,
                   shape=(50, 50)) for i in range(2) for j in range(2)]
    latitude, longitude, height = places(400, 420.0)
    assert read_terrain(tiles).at(latitude, longitude) == pytest.approx(height, abs=0.01)
    assert len(read_terrain(tiles).mosaics) == 1
    assert terrain_files(tmp_path, "*.tif") == sorted(tiles)


def test_the_finest_model_counts_and_a_coarser_one_fills(tmp_path):
    fine = write(tmp_path / "fine.tif", cell=2.0, west=-100, top=100, shape=(100, 100))
    coarse = write(tmp_path / "coarse.tif", cell=30.0, west=-600, top=600, shape=(40, 40),
                   height=lambda x, y: surface(x, y) + 7.0)
    latitude, longitude, height = places(300, 400.0)
    found = read_terrain([coarse, fine]).at(latitude, longitude) - height
    inside = found < 3.5
    assert found[inside] == pytest.approx(0.0, abs=0.01)
    assert found[~inside] == pytest.approx(7.0, abs=0.05)
    assert 0 < inside.mean() < 0.2


@pytest.mark.parametrize(("unit", "told", "factor"), [
    ("ft", None, 0.3048), (None, "ft", 0.3048), ("US survey foot", None, 1200 / 3937),
    ("metre", None, 1.0), (None, None, 1.0)])
def test_feet_and_metres(tmp_path, unit, told, factor):
    path = write(tmp_path / "a.tif", factor=factor, unit=unit)
    latitude, longitude, height = places()
    assert read_terrain([path], told).at(latitude, longitude) == pytest.approx(height, abs=0.01)


def test_no_data_declared_and_undeclared(tmp_path):
    hole = (slice(40, 60), slice(40, 60))
    for nodata, declared in ((-9999.0, True), (-32768.0, False)):
        path = write(tmp_path / "a.tif", nodata=nodata if declared else None,
                     height=surface)
        with rasterio.open(path, "r+") as file:
            values = file.read(1)
            values[hole] = nodata
            file.write(values, 1)
        latitude, longitude, height = places(reach=450.0)
        found = read_terrain([path]).at(latitude, longitude)
        lost = np.isnan(found)
        assert 0.01 < lost.mean() < 0.12
        assert found[~lost] == pytest.approx(height[~lost], abs=0.3)


def test_compressed_blocks_and_scaled_whole_numbers(tmp_path):
    path = write(tmp_path / "a.tif", shape=(640, 640), cell=2.0, west=-640, top=640, tiled=True,
                 blockxsize=128, blockysize=128, compress="deflate")
    latitude, longitude, height = places()
    assert read_terrain([path]).at(latitude, longitude) == pytest.approx(height, abs=0.01)
    with rasterio.open(path) as file:
        profile, values = file.profile, file.read(1)
    profile.update(dtype="int32", nodata=None)
    with rasterio.open(tmp_path / "b.tif", "w", **profile) as file:
        file.write(np.round(values * 100).astype("int32"), 1)
        file.scales = (0.01,)
    assert read_terrain([tmp_path / "b.tif"]).at(latitude, longitude) == pytest.approx(
        height, abs=0.02)


def test_outside_there_are_no_heights(tmp_path):
    path = write(tmp_path / "a.tif")
    found = read_terrain([path]).at(np.array([46.03, -30.0]), np.array([7.02, 100.0]))
    assert np.isfinite(found).tolist() == [True, False]


def test_refusals(tmp_path):
    (tmp_path / "text.tif").write_text("no raster")
    with pytest.raises(InputError, match="not a GeoTIFF"):
        read_terrain([tmp_path / "text.tif"])
    # A virtual raster can name files and addresses of its own; only GeoTIFF is opened.
    (tmp_path / "virtual.tif").write_text('<VRTDataset rasterXSize="1" rasterYSize="1"/>')
    with pytest.raises(InputError, match="not a GeoTIFF"):
        read_terrain([tmp_path / "virtual.tif"])
    with pytest.raises(InputError, match="no such file"):
        read_terrain([tmp_path / "none.tif"])
    with pytest.raises(InputError, match="is a folder"):
        read_terrain([tmp_path])
    with pytest.raises(InputError, match="matches no file"):
        terrain_files(tmp_path, "tiles/*.tif")
    image = tmp_path / "image.tif"
    with rasterio.open(image, "w", driver="GTiff", height=4, width=4, count=3, dtype="uint8",
                       crs=UTM, transform=rasterio.transform.from_origin(*CENTRE, 1, 1)):
        pass
    with pytest.raises(InputError, match="3 bands"):
        read_terrain([image])


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_file_without_a_projection_is_refused(tmp_path):
    bare = tmp_path / "bare.tif"
    with rasterio.open(bare, "w", driver="GTiff", height=4, width=4, count=1, dtype="float32"):
        pass
    with pytest.raises(InputError, match="does not state its projection"):
        read_terrain([bare])


def test_a_file_that_was_cut_short_is_said_to_be_damaged(tmp_path):
    path = write(tmp_path / "a.tif", shape=(400, 400), cell=3.0, west=-600, top=600, tiled=True,
                 blockxsize=64, blockysize=64, compress="deflate")
    whole = path.read_bytes()
    path.write_bytes(whole[:len(whole) // 2])
    latitude, longitude, _ = places()
    with pytest.raises(InputError, match=r"damaged|not a GeoTIFF"):
        read_terrain([path]).at(latitude, longitude)
