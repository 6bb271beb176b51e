"""Forecast files of a weather that is known everywhere: NetCDF, GRIB2 and the table in CSV."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

MIDNIGHT = datetime(2030, 6, 16, tzinfo=UTC)
HOURS = np.arange(6, 13)
LATITUDE, LONGITUDE = np.arange(47.5, 44.4, -0.25), np.arange(5.5, 8.6, 0.25)


def weather(latitude, longitude, hours, members=3, centre=(46.0, 7.0)):
    """Fields (m, t, ...) in SI, linear in place and time: a name of the quantity -> values."""
    m = np.arange(members).reshape(-1, *[1] * (1 + np.ndim(latitude)))
    t = (np.asarray(hours, dtype=float) - 9.0).reshape(1, -1, *[1] * np.ndim(latitude))
    a, b = np.asarray(latitude) - centre[0], np.asarray(longitude) - centre[1]
    return {
        "east": 3.0 + 1.5 * m + 0.5 * t + 1.2 * a - 0.8 * b,
        "north": -2.0 + 0.7 * m - 0.4 * t + 0.9 * b + 0.0 * a,
        "gust": 11.0 + m + 0.2 * t + 0.0 * (a + b),
        "temperature": 288.0 + 0.5 * m + 0.8 * t - 2.0 * a + 0.0 * b,
        "humidity": 0.6 - 0.02 * t + 0.01 * m + 0.0 * (a + b),
        "sea_level_pressure": 101_500.0 - 40.0 * t + 100.0 * m + 0.0 * (a + b)}


CF = {"east": ("u10", "eastward_wind", "m s-1"), "north": ("v10", "northward_wind", "m s-1"),
      "gust": ("fg10", "wind_speed_of_gust", "m s-1"),
      "temperature": ("t2m", "air_temperature", "K"),
      "humidity": ("r2", "relative_humidity", "1"),
      "sea_level_pressure": ("msl", "air_pressure_at_mean_sea_level", "Pa")}


def netcdf(path, *, latitude=LATITUDE, longitude=LONGITUDE, hours=HOURS, members=3,
           leave_out=(), change=None, centre=(46.0, 7.0)):
    """Write a regular grid, members on a dimension named as the CF conventions do."""
    import xarray

    a, b = np.meshgrid(latitude, longitude, indexing="ij")
    fields = weather(a, (b + 180) % 360 - 180, hours, members, centre)
    dims = ("realization", "time", "latitude", "longitude")
    data = xarray.Dataset(
        {CF[what][0]: (dims, values.astype("float64"),
                       {"standard_name": CF[what][1], "units": CF[what][2]})
         for what, values in fields.items() if what not in leave_out},
        coords={"time": [np.datetime64(MIDNIGHT.replace(tzinfo=None)) + np.timedelta64(int(h), "h")
                         for h in hours],
                "latitude": ("latitude", latitude, {"standard_name": "latitude"}),
                "longitude": ("longitude", longitude, {"standard_name": "longitude"}),
                "realization": ("realization", np.arange(members),
                                {"standard_name": "realization"})})
    (change(data) if change else data).to_netcdf(path, engine="netcdf4")
    return path


GRIB = {"east": "10u", "north": "10v", "gust": "10fg", "temperature": "2t", "humidity": "2r",
        "sea_level_pressure": "msl"}


def grib(path, *, members=3, leave_out=(), hours=HOURS, centre=(46.0, 7.0)):
    """Write GRIB2 messages, a member, hour and quantity each."""
    import eccodes

    latitude, longitude = LATITUDE + centre[0] - 46.0, LONGITUDE + centre[1] - 7.0
    a, b = np.meshgrid(latitude, longitude, indexing="ij")
    fields = weather(a, b, hours, members, centre)
    keys = {"Ni": len(longitude), "Nj": len(latitude),
            "latitudeOfFirstGridPointInDegrees": latitude[0],
            "longitudeOfFirstGridPointInDegrees": longitude[0],
            "latitudeOfLastGridPointInDegrees": latitude[-1],
            "longitudeOfLastGridPointInDegrees": longitude[-1],
            "iDirectionIncrementInDegrees": 0.25, "jDirectionIncrementInDegrees": 0.25,
            "dataDate": int(f"{MIDNIGHT:%Y%m%d}"), "dataTime": 0}
    with path.open("wb") as file:
        for what, values in fields.items():
            if what in leave_out:
                continue
            for k in range(members):
                for t, hour in enumerate(hours):
                    message = eccodes.codes_grib_new_from_samples("regular_ll_sfc_grib2")
                    if members > 1:
                        eccodes.codes_set(message, "productDefinitionTemplateNumber", 1)
                        eccodes.codes_set(message, "numberOfForecastsInEnsemble", members)
                        eccodes.codes_set(message, "perturbationNumber", k)
                    for key, value in keys.items():
                        eccodes.codes_set(message, key, value)
                    eccodes.codes_set(message, "stepUnits", "h")
                    eccodes.codes_set(message, "step", int(hour))
                    eccodes.codes_set(message, "shortName", GRIB[what])
                    eccodes.codes_set(message, "bitsPerValue", 24)
                    factor = 100.0 if what == "humidity" else 1.0
                    eccodes.codes_set_values(message, factor * values[k, t].ravel())
                    eccodes.codes_write(message, file)
                    eccodes.codes_release(message)
    return path


def csv(path, at, latitude, longitude, *, members=3, hours=HOURS, centre=(46.0, 7.0)):
    """Write the table by member, hour and place [m along]; times in UTC."""
    fields = weather(latitude, longitude, hours, members, centre)
    rows = [("member,time,place_km,wind_mps,wind_from_deg,gust_kmh,temperature_c,"
             "humidity_percent,sea_level_pressure_hpa")]
    for k in range(members):
        for t, hour in enumerate(hours):
            for d, metres in enumerate(at):
                one = {what: values[k, t, d] for what, values in fields.items()}
                angle = np.degrees(np.arctan2(-one["east"], -one["north"])) % 360
                rows.append(
                    f"{k},2030-06-16T{hour:02}:00+00:00,{metres / 1000:.6f},"
                    f"{np.hypot(one['east'], one['north']):.8f},{angle:.8f},"
                    f"{3.6 * one['gust']:.6f},{one['temperature'] - 273.15:.6f},"
                    f"{100 * one['humidity']:.6f},{one['sea_level_pressure'] / 100:.6f}")
    path.write_text("\n".join(rows))
    return path
