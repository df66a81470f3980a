#!/usr/bin/env python3
"""Inputs and result table of contrib/backtest_year.sh; standard library only.

    backtest_year.py inputs YEAR.csv FOLDER TEXTURES LAYER
                                    writes sites and the stressed year; textures
                                    by commas, or "all"; thickness of the seed layer
    backtest_year.py table FOLDER   prints the tables from the JSON there
"""

import csv
import itertools
import json
import pathlib
import statistics
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
roots = {{ seed-layer = "{layer}" }}
"""
COVERS = {"bare": "", "covered": ', cover = { material = "medium-sheet" }'}


def site(day, textures, layer):
    zones = [
        ZONE.format(name=f"{texture}-{kind}", texture=texture, day=day, cover=cover, layer=layer)
        for texture in textures
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


def inputs(year, folder, textures, layer):
    textures = TEXTURES if textures == "all" else textures.split(",")
    for month, day in MONTHS.items():
        (folder / f"{month}.toml").write_text(site(day, textures, layer))
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


def share(outcome, key):
    return outcome[key] / outcome["daylight_h"]


def row(zone, soil, safe):
    verdict, plan = soil["verdict"], soil["plan"]
    timer = cheapest(soil)
    practice = f"{timer['watered']['gross_mm']:.0f}" if timer else "-"
    return (
        f"| {zone['name']} | {percent(verdict['dry_top_share'])} "
        f"| {percent(share(plan['driest'], 'dry_top_shut_h'))} | {percent(verdict['dry_seed_share'])} "
        f"| {percent(share(plan['driest'], 'dry_seed_shut_h'))} "
        f"| {percent(verdict['dry_head_share'])} | {plan['wettest']['runoff_of_watering_mm']:.1f} "
        f"| {plan['wettest']['longest_ponding_of_watering_min']:.0f} | {zone['watered']['runs']} "
        f"| {zone['watered']['gross_mm']:.0f} | {practice} | {percent(verdict['saving'])} "
        f"| {percent(against_safe(zone, safe))} | {why(verdict)} |"
    )


COLUMNS = (
    "| zone | dry 10 mm % | of it shut % | dry 3 mm % | of it shut % | -50 m % | runoff mm "
    "| ponded min | runs | plan mm | practice mm | saved % | against safe % | missed |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n"
)
SUMMARY = (
    "| season | soil table | dry 10 mm | dry 3 mm | -50 m | no runoff | no ponding | 30 % saved "
    "| 10 mm while open, worst % | median saved % | against safe % | all |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|---|"
)
DRAWN = (
    "| zone | dry 10 mm % | dry 3 mm % | -50 m % | runoff mm | ponded min | plan mm |\n"
    "|---|---|---|---|---|---|---|\n"
)
WEEK = (
    "| zone | layer at its end mm | daylight h | dry h, mean of the zone | dry h, driest quarter |\n"
    "|---|---|---|---|---|\n"
)


def drawn_row(zone, soil):
    """Exact ground, median and worst tenth of the drawn ones."""
    drawn, plan = soil["drawn"], soil["plan"]
    dry = [plan["driest"], drawn["driest_median"], drawn["driest_worst"]]
    wet = [plan["wettest"], drawn["wettest_median"], drawn["wettest_worst"]]
    water = [zone["watered"]["gross_mm"], drawn["gross_mm_median"], drawn["gross_mm_worst"]]
    cells = [" / ".join(percent(share(o, key)) for o in dry)
             for key in ("dry_top_h", "dry_seed_h", "dry_head_h")]
    cells.append(" / ".join(f"{o['runoff_of_watering_mm']:.1f}" for o in wet))
    cells.append(" / ".join(f"{o['longest_ponding_of_watering_min']:.0f}" for o in wet))
    cells.append(" / ".join(f"{mm:.0f}" for mm in water))
    return f"| {zone['name']} | " + " | ".join(cells) + " |"


def week_row(zone, soil):
    """The first week of young grass."""
    week = soil["taper"]
    return (f"| {zone['name']} | {week['layer_mm']:.0f} | {week['daylight_h']:.0f} "
            f"| {week['dry_mean_h']:.1f} | {week['dry_driest_h']:.1f} |")


def summary_row(season, rows):
    verdicts = [soil["verdict"] for _, soil, _ in rows]
    met = lambda test: sum(1 for verdict in verdicts if test(verdict))
    middle = lambda shares: percent(statistics.median(shares) if shares else None)
    safe_savings = [x for x in (against_safe(z, safe) for z, _, safe in rows) if x is not None]
    driest = [soil["plan"]["driest"] for _, soil, _ in rows]
    while_open = max(share(o, "dry_top_h") - share(o, "dry_top_shut_h") for o in driest)
    return (
        f"| {season} | {rows[0][1]['table']} | {met(lambda v: v['dry_top_share'] <= 0.01)} "
        f"| {met(lambda v: v['dry_seed_share'] <= 0.01)} | {met(lambda v: v['dry_head_share'] <= 0.01)} "
        f"| {met(lambda v: v['no_runoff'])} | {met(lambda v: v['no_ponding'])} "
        f"| {met(lambda v: v['saving'] is None or v['saving'] >= 0.30)} | {100 * while_open:.2f} "
        f"| {middle([v['saving'] for v in verdicts if v['saving'] is not None])} "
        f"| {middle(safe_savings)} | {met(lambda v: not why(v))} |"
    )


def section(title, columns, lines):
    return f"### {title}\n\n{columns}" + "\n".join(lines) + "\n"


def table(folder):
    summary, zones, draws, weeks = [], [], [], []
    for month, weather in itertools.product(MONTHS, WEATHERS):
        path = folder / f"{month}-{weather}.json"
        if not path.exists():
            continue
        found = json.loads(path.read_text())["zones"]
        stressed = folder / f"{month}-stressed.json"
        safe_zones = json.loads(stressed.read_text())["zones"] if stressed.exists() else found
        for index, soil in enumerate(found[0]["soils"]):
            rows = [
                (zone, zone["soils"][index], cheapest(safe["soils"][index]))
                for zone, safe in zip(found, safe_zones, strict=True)
            ]
            summary.append(summary_row(f"{month}, {weather}", rows))
            title = f"{month}, {weather} weather, {soil['table']}"
            zones.append(section(title, COLUMNS, [row(*of_zone) for of_zone in rows]))
            if soil["drawn"]:
                lines = [drawn_row(zone, soil) for zone, soil, _ in rows]
                draws.append(section(f"Drawn grounds: {title}", DRAWN, lines))
            grown = [week_row(zone, soil) for zone, soil, _ in rows if soil.get("taper")]
            if grown:
                weeks.append(section(f"The week after all is up: {title}", WEEK, grown))
    print(SUMMARY + "\n" + "\n".join(summary) + "\n")
    print("\n".join(zones + draws + weeks), end="")


def main():
    if len(sys.argv) == 6 and sys.argv[1] == "inputs":
        inputs(sys.argv[2], pathlib.Path(sys.argv[3]), *sys.argv[4:])
    elif len(sys.argv) == 3 and sys.argv[1] == "table":
        table(pathlib.Path(sys.argv[2]))
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    main()
