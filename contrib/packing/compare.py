"""The planner's packing against proven bounds, as docs/packing.md explains.

usage: compare.py [--seconds S] [--workers N] [--only moment|day|hindsight] FILE
FILE has the lines of the exporter (export.rs).
"""

import argparse
import json
import math

from ortools.sat.python import cp_model

import even_day
import fixed
from told import Site

KEYS = ("alone", "ours")
NAMES = {"alone": "one by one", "ours": "ours"}


def solver(args):
    """Solves a model: its proven bound, and whether that is reached."""
    def solve_one(model):
        cp = cp_model.CpSolver()
        cp.parameters.max_time_in_seconds = args.seconds
        cp.parameters.num_workers = args.workers
        cp.parameters.random_seed = 1
        status = cp.solve(model)
        if status in (cp_model.INFEASIBLE, cp_model.MODEL_INVALID):
            raise SystemExit(f"CP-SAT: {cp.status_name(status)}")
        return math.ceil(cp.best_objective_bound - 1e-6), status == cp_model.OPTIMAL

    return solve_one


def fixed_problem(site, told, solve, with_idle):
    jobs = fixed.jobs_of(site, told)
    for key in KEYS:
        fixed.check(site, jobs, key)
    moving = [job for job in jobs if job.moves]
    late = {key: sum(site.late(j, j.at(key)) for j in moving) for key in KEYS}
    row = {"runs": len(moving), "work": sum(j.length for j in moving), "late": late,
           "bound": 0, "optimal": True, "idle": {"ours": 0.0} if with_idle else {}}
    if max(late.values()) > 0:
        row["bound"], row["optimal"] = fixed.lateness(site, jobs, solve)
        if with_idle:
            row["idle"]["ours"] = fixed.idle_gap(site, jobs, solve)
    return row


def worst_moment(site, moments, solve):
    """Of all placings of the day the one furthest from its bound, or of
    several such the latest one."""
    rows = [fixed_problem(site, told, solve, True) for told in moments]
    row = max(rows, key=lambda row: (row["late"]["ours"] - row["bound"], row["late"]["alone"]))
    return {**row, "optimal": all(row["optimal"] for row in rows),
            "idle": {"ours": max(row["idle"]["ours"] for row in rows)}}


def even_day_problem(site, told, solve):
    day = even_day.Day(site, told)
    for key in KEYS:
        day.check(key)
    bound, optimal = even_day.bound(day, solve)
    return {"runs": sum(map(len, day.runs["ours"])), "work": day.work(),
            "late": {key: day.late(key) for key in KEYS}, "bound": bound, "optimal": optimal,
            "idle": {key: day.idle(key) for key in KEYS}}


PROBLEMS = {
    "moment": lambda site, one, solve: worst_moment(site, one["moments"], solve),
    "day": lambda site, one, solve: even_day_problem(site, one["even"], solve),
    "hindsight": lambda site, one, solve: fixed_problem(site, one["day"], solve, False),
}


def gap(row, key):
    return (row["late"][key] - row["bound"]) / max(row["bound"], row["work"])


def report(name, sites, solve):
    print(f"{name}: seconds; gaps as a share of the bound or of the work, whichever is more")
    print("site zones runs  work  one by one  ours  bound  proven   gap one by one   ours")
    rows = []
    for one in sites:
        row = PROBLEMS[name](Site(one), one, solve)
        rows.append(row)
        late = row["late"]
        print(f"{one['seed']:4} {len(one['zones']):5} {row['runs']:4} {row['work']:5} "
              f"{late['alone']:11} {late['ours']:5} {row['bound']:6} "
              f"{'optimal' if row['optimal'] else 'bound':>7} "
              f"{gap(row, 'alone'):16.2%} {gap(row, 'ours'):6.2%}", flush=True)
    bound = sum(row["bound"] for row in rows)
    for key in KEYS:
        gaps = [gap(row, key) for row in rows]
        idle = [row["idle"][key] for row in rows if key in row["idle"]]
        shares = f"; idle mean {mean(idle):.2%}, worst {max(idle):.2%}" if idle else ""
        print(f"{name}, {NAMES[key]}: gap mean {mean(gaps):.2%}, worst {max(gaps):.2%}; "
              f"late {sum(row['late'][key] for row in rows)} s of {bound} s bound; "
              f"at the bound {sum(row['late'][key] == row['bound'] for row in rows)}{shares}")
    print(f"{name}: proven optimal {sum(row['optimal'] for row in rows)} of {len(rows)}\n")


def mean(values):
    return sum(values) / len(values)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=10)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", choices=PROBLEMS)
    parser.add_argument("file")
    args = parser.parse_args()
    with open(args.file, encoding="utf-8") as lines:
        sites = [json.loads(line) for line in lines]
    for name in PROBLEMS:
        if args.only in (None, name):
            report(name, sites, solver(args))
    for name in ("ample", "scarce"):
        hours = sum(one["seed_dry_s"][name] for one in sites) / 3600
        print(f"seed too dry in the plans with {name} supply: {hours:.0f} h")


if __name__ == "__main__":
    main()
