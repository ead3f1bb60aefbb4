"""Measures the program's light against public libraries; prints JSON.

Argument: the program. Fixed draw. Differences are the greatest that were met.
"""
import csv
import datetime
import io
import json
import random
import subprocess
import sys

import colour
import numpy as np
import pandas as pd
import pvlib

PROGRAM = sys.argv[1]
CONDITIONS = 200
# Lower, and refraction at the horizon is no longer the same thing in both.
LOWEST_SUN_DEG = 1.5


def ran(*arguments):
    done = subprocess.run(
        [PROGRAM, *arguments], capture_output=True, text=True, check=True
    )
    return done.stdout


def table(text):
    rows = list(csv.DictReader(io.StringIO(text)))
    return {k: np.array([float(r[k]) for r in rows]) for k in rows[0]}


def relative(ours, theirs):
    counts = theirs > 1e-12
    return float(np.max(np.abs(ours[counts] / theirs[counts] - 1)))


def sun_and_sky():
    draw = random.Random(7)
    v = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    v_nm, v_values = v.wavelengths, v.values[:, 1]
    worst = dict.fromkeys(("elevation_deg", "azimuth_deg", "spectrum", "lux"), 0.0)

    def met(name, difference):
        worst[name] = max(worst[name], float(difference))

    count = 0
    while count < CONDITIONS:
        latitude, longitude = draw.uniform(-65, 65), draw.uniform(-180, 180)
        begin = datetime.datetime(2000, 1, 1, tzinfo=datetime.timezone.utc)
        time = begin + datetime.timedelta(seconds=draw.randrange(35 * 365 * 86400))
        hpa, celsius = draw.uniform(700, 1040), draw.uniform(-20, 35)
        aerosol, water = draw.uniform(0.02, 0.6), draw.uniform(0.2, 5)
        ozone, ground = draw.uniform(0.2, 0.45), draw.uniform(0, 0.8)
        theirs = pvlib.solarposition.spa_python(
            pd.DatetimeIndex([time]), latitude, longitude, altitude=0,
            pressure=hpa * 100, temperature=celsius, delta_t=None,
        )
        elevation = theirs.apparent_elevation.iloc[0]
        if elevation < LOWEST_SUN_DEG:
            continue
        count += 1
        arguments = ["sun", "--time", time.isoformat()]
        for name, value in (
            ("latitude", latitude), ("longitude", longitude), ("pressure", hpa),
            ("temperature", celsius), ("aerosol", aerosol), ("water", water),
            ("ozone", ozone), ("ground", ground),
        ):
            arguments += ["--" + name, repr(value)]
        ours = json.loads(ran(*arguments, "--json"))
        met("elevation_deg", abs(elevation - ours["sun_elevation_deg"]))
        apart = abs(theirs.azimuth.iloc[0] - ours["sun_azimuth_deg"])
        met("azimuth_deg", min(apart, 360 - apart))

        light = table(ran(*arguments, "--spectrum"))
        zenith = 90 - ours["sun_elevation_deg"]
        model = pvlib.spectrum.spectrl2(
            apparent_zenith=zenith, aoi=zenith, surface_tilt=0, ground_albedo=ground,
            surface_pressure=hpa * 100,
            relative_airmass=pvlib.atmosphere.get_relative_airmass(
                zenith, "kastenyoung1989"
            ),
            precipitable_water=water, ozone=ozone, aerosol_turbidity_500nm=aerosol,
            dayofyear=ours["day_of_year"],
        )
        nm = light["wavelength_nm"]
        kept = nm <= 1100
        for theirs_name, name in (("dni", "direct_normal"), ("dhi", "open_shade")):
            expected = model[theirs_name].reshape(-1)[: len(nm)]
            met("spectrum", relative(light[name][kept], expected[kept]))
        total = np.interp(v_nm, nm, light["global_horizontal"])
        lux = 683 * np.trapezoid(total * v_values, v_nm)
        met("lux", abs(ours["illuminance_lux"] / lux - 1))
    return {"conditions": count, **worst}


def against(name, theirs):
    """Greatest relative difference where both know a value; at least 40 of them."""
    ours = table(ran("light", name, "--spectrum"))
    here = dict(zip(ours["wavelength_nm"], ours["relative_power"]))
    there = dict(zip(theirs.wavelengths, theirs.values))
    both = sorted(set(here) & set(there))
    assert len(both) >= 40, (name, len(both))
    pick = lambda of: np.array([of[nm] for nm in both])
    return relative(pick(here), pick(there))


def lamps():
    daylight = 0.0
    for kelvin in (4000, 5003, 5503, 6504, 7504, 10000, 25000):
        xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
        theirs = colour.sd_CIE_illuminant_D_series(xy)
        daylight = max(daylight, against(f"daylight:{kelvin}", theirs))
    a = against("illuminant-a", colour.sd_CIE_standard_illuminant_A())
    kelvin = 3200
    planck = colour.sd_blackbody(kelvin, colour.SpectralShape(300, 1100, 10))
    planck = planck / planck[560]
    return {
        "daylight": daylight,
        "illuminant_a": a,
        "tungsten": against(f"tungsten:{kelvin}", planck),
    }


print(json.dumps({"sun_and_sky": sun_and_sky(), "lamps": lamps()}))
