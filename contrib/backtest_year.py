#!/usr/bin/env python3
"""Inputs and result table of contrib/backtest_year.sh; standard library only.

    backtest_year.py inputs YEAR.csv FOLDER   writes sites and the stressed year
    backtest_year.py table FOLDER             prints the table from the JSON there
"""

import csv
import json
import pathlib
import sys
from datetime import datetime

RATE_MM_PER_H = 12
TEXTURES = [
    "sand", "loamy-sand", "sandy-loam", "loam", "silt-loam", "silt",
    "sandy-clay-loam", "clay-loam", "silty-clay-loam", "sandy-clay",
    "silty-clay", "clay",
]
MONTHS = {"august": "2023-08-03", "april": "2023-04-03"}
WEATHERS = ["real", "stressed"]
HEAD = """\
name = "Harrowmere, twelve soils"
place = { latitude = 36.1, longitude = -79.95, elevation = "273 m", time-zone = "America/New_York" }
supply = { flow = "2000 L/min" }
limits = { wind = "30 m/s" }   # doubled wind would keep the valves shut for days
"""
ZONE = """
[[zone]]
name = "{name}"
area = "100 m2"
soil = "{texture}"
sprinkler = {{ precipitation-rate = "12 mm/h", distribution-uniformity = 0.65, application-efficiency = "80 %" }}
runs = {{ shortest = "1 min", longest = "25 min", soak-time = "15 min" }}
seeding = {{ at = "{day} 09:00", mix = "tall-fescue", soil-now = "half"{cover} }}
"""
COVERS = {"bare": "", "covered": ', cover = { material = "medium-sheet" }'}


def site(day):
    zones = [
        ZONE.format(name=f"{texture}-{kind}", texture=texture, day=day, cover=cover)
        for texture in TEXTURES
        for kind, cover in COVERS.items()
    ]
    return HEAD + "".join(zones)


def stress(row):
    """5 °C hotter, humidity 30 points lower (not below 5 %), wind doubled, no rain."""
    return {
        **row,
        "air_temp_c": f"{float(row['air_temp_c']) + 5:.1f}",
        "rel_humidity_pct": f"{max(5.0, float(row['rel_humidity_pct']) - 30):.0f}",
        "wind_speed_m_s": f"{2 * float(row['wind_speed_m_s']):.1f}",
        "precip_mm": "0.0",
    }


def inputs(year, folder):
    for month, day in MONTHS.items():
        (folder / f"{month}.toml").write_text(site(day))
    with open(year, newline="") as source:
        rows = list(csv.DictReader(line for line in source if not line.startswith("#")))
    for name, change in [("real", dict), ("stressed", stress)]:
        with open(folder / f"{name}.csv", "w", newline="") as out:
            writer = csv.DictWriter(out, rows[0].keys(), lineterminator="\n")
            writer.writeheader()
            writer.writerows(change(row) for row in rows)


def why(verdict):
    """What of the aims is missed, in a few words."""
    missed = []
    for name, key in [("10 mm", "dry_top_share"), ("3 mm", "dry_seed_share"), ("-50 m", "dry_head_share")]:
        if verdict[key] > 0.01:
            missed.append(f"dry at {name}")
    if not verdict["no_runoff"]:
        missed.append("runoff")
    if not verdict["no_ponding"]:
        missed.append("ponding")
    saving = verdict["saving"]
    if saving is not None and saving < 0.30:
        missed.append("saving")
    return ", ".join(missed)


def percent(share):
    return "-" if share is None else f"{100 * share:.1f}"


def cheapest(soil):
    name = soil["verdict"]["cheapest_practice"]
    return next((p for p in soil["practices"] if p["chosen"] == "as-moist" and p["name"] == name), None)


def against_safe(zone, safe):
    """Share saved against the timer that the stressed month would have asked for."""
    if not safe:
        return None
    span = datetime.fromisoformat(zone["judged_to"]) - datetime.fromisoformat(zone["judged_from"])
    days = span.total_seconds() / 86400
    timer_mm = days * safe["runs_per_day"] * safe["length_s"] / 3600 * RATE_MM_PER_H
    return 1 - zone["watered"]["gross_mm"] / timer_mm


def row(zone, soil, safe):
    verdict, plan = soil["verdict"], soil["plan"]
    drawn = soil["drawn"]
    worst = drawn and drawn["driest_worst"]
    share = lambda outcome, key: outcome and outcome[key] / outcome["daylight_h"]
    timer = cheapest(soil)
    practice = f"{timer['watered']['gross_mm']:.0f}" if timer else "-"
    return (
        f"| {zone['name']} | {percent(verdict['dry_top_share'])} | {percent(verdict['dry_seed_share'])} "
        f"| {percent(share(plan['driest'], 'dry_seed_shut_h'))} "
        f"| {percent(verdict['dry_head_share'])} | {percent(share(worst, 'dry_top_h'))} "
        f"| {percent(share(worst, 'dry_seed_h'))} | {plan['wettest']['runoff_of_watering_mm']:.1f} "
        f"| {plan['wettest']['longest_ponding_of_watering_min']:.0f} "
        f"| {zone['watered']['gross_mm']:.0f} | {practice} | {percent(verdict['saving'])} "
        f"| {percent(against_safe(zone, safe))} | {why(verdict)} |"
    )


COLUMNS = (
    "| zone | dry 10 mm % | dry 3 mm % | of it shut % | -50 m % | worst tenth 10 mm % | 3 mm % | runoff mm "
    "| ponded min | plan mm | practice mm | saved % | against safe % | missed |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n"
)


def table(folder):
    results, summary = [], []
    for month in MONTHS:
        for weather in WEATHERS:
            path = folder / f"{month}-{weather}.json"
            if not path.exists():
                continue
            found = json.loads(path.read_text())
            stressed = folder / f"{month}-stressed.json"
            safe_zones = json.loads(stressed.read_text())["zones"] if stressed.exists() else found["zones"]
            for index, soil in enumerate(found["zones"][0]["soils"]):
                rows = [
                    (zone, zone["soils"][index], cheapest(safe["soils"][index]))
                    for zone, safe in zip(found["zones"], safe_zones, strict=True)
                ]
                verdicts = [soil["verdict"] for _, soil, _ in rows]
                safe_savings = sorted(x for x in (against_safe(z, s) for z, _, s in rows) if x is not None)
                middle_safe = percent(safe_savings[len(safe_savings) // 2]) if safe_savings else "-"
                met = lambda test: sum(1 for verdict in verdicts if test(verdict))
                savings = sorted(v["saving"] for v in verdicts if v["saving"] is not None)
                middle = percent(savings[len(savings) // 2]) if savings else "-"
                summary.append(
                    f"| {month}, {weather} | {soil['table']} | {met(lambda v: v['dry_top_share'] <= 0.01)} "
                    f"| {met(lambda v: v['dry_seed_share'] <= 0.01)} | {met(lambda v: v['dry_head_share'] <= 0.01)} "
                    f"| {met(lambda v: v['no_runoff'])} | {met(lambda v: v['no_ponding'])} "
                    f"| {met(lambda v: v['saving'] is None or v['saving'] >= 0.30)} | {middle} "
                    f"| {middle_safe} | {met(lambda v: not why(v))} |"
                )
                results.append(f"### {month}, {weather} weather, {soil['table']}\n\n{COLUMNS}"
                               + "\n".join(row(*pair) for pair in rows) + "\n")
    print("| season | soil table | dry 10 mm | dry 3 mm | -50 m | no runoff | no ponding | 30 % saved "
          "| median saved % | against safe % | all |\n|---|---|---|---|---|---|---|---|---|---|---|")
    print("\n".join(summary) + "\n")
    print("\n".join(results), end="")


def main():
    if len(sys.argv) == 4 and sys.argv[1] == "inputs":
        inputs(sys.argv[2], pathlib.Path(sys.argv[3]))
    elif len(sys.argv) == 3 and sys.argv[1] == "table":
        table(pathlib.Path(sys.argv[2]))
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    main()
