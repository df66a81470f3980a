#!/usr/bin/env python3
"""Makes config/harrowmere-weather.csv: invented late-summer weather.

Usage: python3 contrib/demo_weather.py > config/harrowmere-weather.csv

Nothing here was measured. Radiation is the clear-sky radiation of FAO-56
(eq. 28 and 37) times an invented cloud factor; temperature follows the day,
humidity a dew point that changes slowly; rain, the dry windy spell and the
cool days are the list EVENTS. Same script, same bytes: the only chance is a
seeded generator of our own, so that no version of Python changes it.
"""

import datetime as dt
import math
import sys

LATITUDE_DEG, LONGITUDE_DEG, ELEVATION_M = 36.1, -79.9, 270.0
FIRST_DAY, LAST_DAY = dt.date(2023, 8, 1), dt.date(2023, 10, 15)
ZONE = dt.timezone(dt.timedelta(hours=-5))  # standard time, all year

# day: (sky 0 overcast .. 1 clear, warmer by K, dew point by K, wind factor)
DAYS = {
    "2023-08-03": (0.55, 0.0, 1.0, 1.1),
    "2023-08-07": (0.45, -1.0, 1.5, 1.2),
    "2023-08-12": (0.50, -1.5, 1.0, 1.1),
    "2023-08-15": (0.40, -2.0, 1.0, 1.2),
    # the dry week of the pre-soak
    "2023-08-18": (0.95, 0.5, -2.0, 0.9),
    "2023-08-19": (0.95, 1.0, -2.0, 0.9),
    "2023-08-20": (0.90, 1.5, -1.5, 0.9),
    "2023-08-21": (0.90, 1.5, -1.0, 0.9),
    "2023-08-24": (0.60, 0.0, 0.5, 1.0),
    # hot, dry and windy, just when most seed is down
    "2023-08-26": (0.95, 3.0, -5.0, 1.5),
    "2023-08-27": (1.00, 4.5, -7.5, 2.2),
    "2023-08-28": (1.00, 4.5, -7.0, 2.4),
    "2023-08-29": (0.90, 3.0, -4.0, 1.7),
    "2023-08-31": (0.25, -2.5, 1.5, 1.1),
    "2023-09-01": (0.35, -3.0, 1.0, 0.9),
    "2023-09-05": (0.55, 0.5, 1.5, 1.2),
    "2023-09-09": (0.20, -3.0, 0.5, 0.7),
    "2023-09-14": (0.60, -1.0, 0.5, 1.3),
    "2023-09-21": (0.30, -2.0, 1.0, 1.3),
    "2023-09-28": (0.25, -2.5, 1.0, 1.0),
    "2023-10-05": (0.40, -1.0, 1.0, 1.4),
    "2023-10-08": (0.95, -5.0, -3.0, 1.2),
    "2023-10-09": (1.00, -6.0, -3.0, 0.8),
    "2023-10-13": (0.30, -2.0, 1.0, 1.1),
}

# hour ending (standard time): mm in it
RAIN = {
    "2023-08-03T17": 6.4, "2023-08-03T18": 4.1,
    "2023-08-07T04": 1.8, "2023-08-07T05": 3.6, "2023-08-07T06": 2.0,
    "2023-08-12T16": 5.1,
    "2023-08-15T18": 8.4, "2023-08-15T19": 3.8, "2023-08-15T20": 0.5,
    "2023-08-24T15": 0.8, "2023-08-24T16": 2.5,
    "2023-08-31T02": 1.0, "2023-08-31T03": 2.3, "2023-08-31T04": 3.0,
    "2023-08-31T05": 2.0, "2023-08-31T06": 0.8, "2023-08-31T14": 0.5,
    "2023-09-01T07": 0.5, "2023-09-01T08": 0.3,
    "2023-09-05T16": 14.7, "2023-09-05T17": 6.1, "2023-09-05T18": 0.5,
    "2023-09-09T09": 0.5, "2023-09-09T10": 0.8, "2023-09-09T11": 0.5, "2023-09-09T12": 0.3,
    "2023-09-14T15": 3.8,
    "2023-09-21T05": 2.5, "2023-09-21T06": 4.6, "2023-09-21T07": 3.3, "2023-09-21T08": 1.0,
    "2023-09-28T13": 1.3, "2023-09-28T14": 2.0, "2023-09-28T15": 1.5,
    "2023-10-05T20": 5.6, "2023-10-05T21": 2.8,
    "2023-10-13T10": 1.0, "2023-10-13T11": 1.8, "2023-10-13T12": 1.3,
}


class Chance:
    """A linear congruential generator (Knuth's MMIX constants)."""

    def __init__(self, seed):
        self.state = seed

    def share(self):
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (self.state >> 11) / 2**53

    def around_zero(self):
        """About normal, standard deviation 1: the sum of twelve shares."""
        return sum(self.share() for _ in range(12)) - 6.0


def saturation_kpa(temp_c):
    return 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))


def clear_sky_w_m2(end):
    """Mean of the hour that ends at `end` (FAO-56 eq. 28, 31-33, 37)."""
    start = end - dt.timedelta(hours=1)
    day = start.timetuple().tm_yday
    phi = math.radians(LATITUDE_DEG)
    dr = 1 + 0.033 * math.cos(2 * math.pi * day / 365)
    delta = 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)
    b = 2 * math.pi * (day - 81) / 364
    sc = 0.1645 * math.sin(2 * b) - 0.1255 * math.cos(b) - 0.025 * math.sin(b)
    middle = start.hour + 0.5
    omega = math.pi / 12 * (middle + 0.06667 * (75.0 + LONGITUDE_DEG) + sc - 12)
    sunset = math.acos(-math.tan(phi) * math.tan(delta))
    low = max(-sunset, min(sunset, omega - math.pi / 24))
    high = max(-sunset, min(sunset, omega + math.pi / 24))
    ra_mj = 12 * 60 / math.pi * 0.0820 * dr * (
        (high - low) * math.sin(phi) * math.sin(delta)
        + math.cos(phi) * math.cos(delta) * (math.sin(high) - math.sin(low))
    )
    return max(0.0, (0.75 + 2e-5 * ELEVATION_M) * ra_mj / 0.0036)


def season_mean_c(day):
    """25 °C at the start of August, falling to 16 °C in mid October."""
    passed = (day - FIRST_DAY).days / (LAST_DAY - FIRST_DAY).days
    return 25.0 - 9.0 * passed**1.4


def day_weather(day, chance):
    """Sky, mean temperature, dew point and wind factor of a day."""
    # Drawn on every day, so that an edited day leaves the others alone.
    sky = 0.62 + 0.3 * chance.share()
    drift, damp, wind = chance.around_zero(), chance.around_zero(), chance.around_zero()
    warm, moist, breeze = 0.9 * drift, 0.9 * damp, 1.0 + 0.15 * wind
    if day.isoformat() in DAYS:
        sky, warm, moist, breeze = DAYS[day.isoformat()]
    mean = season_mean_c(day) + warm
    return sky, mean, season_mean_c(day) - 5.5 + moist, breeze


def between(today, tomorrow, hour):
    """Slides from one day's value to the next over the night."""
    if hour <= 18:
        return today
    return today + (tomorrow - today) * (hour - 18) / 12.0


def rows():
    chance = Chance(19_580_826)
    days = [FIRST_DAY + dt.timedelta(days=n) for n in range((LAST_DAY - FIRST_DAY).days + 2)]
    kinds = [day_weather(day, chance) for day in days]
    cloud = 0.0
    for index, day in enumerate(days[:-1]):
        sky, mean, dew, breeze = kinds[index]
        previous = kinds[max(index - 1, 0)]
        nxt = kinds[index + 1]
        for hour in range(1, 25):
            end = dt.datetime.combine(day, dt.time(), ZONE) + dt.timedelta(hours=hour)
            rain = RAIN.get(f"{day.isoformat()}T{hour:02d}", 0.0)
            cloud = 0.6 * cloud + 0.4 * chance.around_zero()
            clearness = min(1.0, max(0.22, sky + 0.28 * (1 - abs(2 * sky - 1)) * cloud))
            if rain > 0:
                clearness = min(clearness, 0.28)
            # The new day comes in over the first six hours.
            blend = min(1.0, (hour + 6) / 12.0)
            level = previous[1] + (between(mean, nxt[1], hour) - previous[1]) * blend
            damp = previous[2] + (between(dew, nxt[2], hour) - previous[2]) * blend
            swing = 3.0 + 4.2 * sky
            # Highest at 15 h, lowest before sunrise; the night falls slowly.
            angle = 2 * math.pi * (hour - 15) / 24
            temp = level + swing * (0.93 * math.cos(angle) + 0.13 * math.cos(2 * angle))
            temp += 0.25 * chance.around_zero() - (2.2 if rain > 0 else 0.0)
            # Dry air is mixed down in the afternoon of a clear day.
            dew_now = damp - 1.6 * sky * max(0.0, math.cos(angle))
            humidity = 100.0 * saturation_kpa(min(dew_now, temp)) / saturation_kpa(temp)
            if rain > 0:
                humidity = max(humidity, 90.0)
            # An instrument seldom reads 100 % for hours.
            humidity = min(humidity, 95.0 + 4.0 * chance.share())
            stir = max(0.0, math.cos(2 * math.pi * (hour - 14.5) / 24))
            wind = breeze * (1.1 + 2.1 * stir) + 0.35 * chance.around_zero()
            pressure = 98.1 + 0.25 * math.sin(2 * math.pi * (index + hour / 24) / 6.3)
            pressure += 0.07 * math.cos(4 * math.pi * (hour - 10) / 24) - 0.25 * (1 - sky)
            yield (
                end.isoformat(),
                f"{temp:.1f}",
                f"{humidity:.0f}",
                f"{max(0.0, wind):.1f}",
                f"{clear_sky_w_m2(end) * clearness:.0f}",
                f"{rain:.1f}",
                f"{pressure:.1f}",
            )


HEADER = """\
# Invented weather for the invented place Harrowmere (36.1 N, 79.9 W, 270 m).
# Nothing in this file was measured. Made by contrib/demo_weather.py (seeded):
# clear-sky radiation of FAO-56 times invented clouds, a late-summer course of
# temperature and humidity, a few showers and one hot, dry, windy spell.
# time: END of the hour, standard time (-05:00) all year. Wind: at 10 m.
# Units: degC, %, m/s, W/m2 (mean of the hour), mm in the hour, kPa.
time,air_temp_c,rel_humidity_pct,wind_speed_m_s,solar_w_m2,precip_mm,pressure_kpa
"""


def main():
    sys.stdout.write(HEADER)
    for row in rows():
        sys.stdout.write(",".join(row) + "\n")


if __name__ == "__main__":
    main()
