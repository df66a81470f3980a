"""Hourly ET0 of a weather file with the refet package, timed like et0.rs.

usage: et0_refet.py FILE.csv
Prints the median of many runs over the same rows, from temperature, humidity,
wind and radiation as they stand in the file to ET0, imports and reading not
counted.
"""

import csv
import datetime
import statistics
import sys
import time

import numpy as np
import refet

RUNS = 501
LATITUDE, LONGITUDE, ELEVATION, WIND_HEIGHT = 36.1, -79.95, 273.0, 10.0


def main(path):
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))

    def column(name):
        return np.array([float(row[name]) for row in rows])

    temperature, humidity = column("air_temp_c"), column("rel_humidity_pct")
    wind, solar = column("wind_speed_m_s"), column("solar_w_m2")
    starts = [
        datetime.datetime.fromisoformat(row["time"]).astimezone(datetime.timezone.utc)
        - datetime.timedelta(hours=1)
        for row in rows
    ]
    hour_utc = np.array([float(start.hour) for start in starts])
    # The day of the year is that of local standard time, as refet wants it.
    local = [start - datetime.timedelta(hours=5) for start in starts]
    day_of_year = np.array([float(start.timetuple().tm_yday) for start in local])

    def et0():
        vapour_pressure = 0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)) * humidity / 100
        return refet.Hourly(
            tmean=temperature, ea=vapour_pressure, rs=solar * 0.0036, uz=wind, zw=WIND_HEIGHT,
            elev=ELEVATION, lat=LATITUDE, lon=LONGITUDE, doy=day_of_year, time=hour_utc,
            method="asce",
        ).eto()

    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        values = et0()
        times.append((time.perf_counter() - start) * 1e6)
    print(f"hours {len(rows)}")
    print(f"total_mm {values.sum():.2f}")
    print(f"series_us {statistics.median(times):.1f}")


main(sys.argv[1])
