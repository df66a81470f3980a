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


def solver(args):
    def solve(model):
        cp = cp_model.CpSolver()
        cp.parameters.max_time_in_seconds = args.seconds
        cp.parameters.num_workers = args.workers
        cp.parameters.random_seed = 1
        status = cp.solve(model)
        if status in (cp_model.INFEASIBLE, cp_model.MODEL_INVALID):
            raise SystemExit(f"CP-SAT: {cp.status_name(status)}")
        return math.ceil(cp.best_objective_bound - 1e-6), status == cp_model.OPTIMAL

    return solve


def fixed_problem(site, told, solve, with_idle):
    jobs = fixed.jobs_of(site, told)
    for key in KEYS:
        fixed.check(site, jobs, key)
    late = {key: sum(site.late(j, j.at(key)) for j in jobs if j.moves) for key in KEYS}
    bound, _ = fixed.lateness(site, jobs, solve)
    moving = [job for job in jobs if job.moves]
    return {
        "runs": len(moving),
        "work": sum(job.length for job in moving),
        "late": late,
        "bound": max(0, bound),
        "idle": {"ours": fixed.idle_gap(site, jobs, solve)} if with_idle else {},
    }


def even_day_problem(site, told, solve):
    day = even_day.Day(site, told)
    for key in KEYS:
        day.check(key)
    return {
        "runs": sum(map(len, day.runs["ours"])),
        "work": day.work(),
        "late": {key: day.late(key) for key in KEYS},
        "bound": even_day.bound(day, solve),
        "idle": {key: day.idle(key) for key in KEYS},
    }


PROBLEMS = {
    "moment": lambda site, one, solve: fixed_problem(site, one["moment"], solve, True),
    "day": lambda site, one, solve: even_day_problem(site, one["even"], solve),
    "hindsight": lambda site, one, solve: fixed_problem(site, one["day"], solve, False),
}


def gap(row, key):
    return (row["late"][key] - row["bound"]) / max(row["bound"], row["work"])


def report(name, sites, solve):
    print(f"{name}: site zones runs work[s] late-alone late-ours bound gap-alone gap-ours idle")
    rows = []
    for one in sites:
        row = PROBLEMS[name](Site(one), one, solve)
        rows.append(row)
        print(one["seed"], len(one["zones"]), row["runs"], row["work"], *row["late"].values(),
              row["bound"], *(f"{gap(row, key):.2%}" for key in KEYS),
              *(f"{share:.2%}" for share in row["idle"].values()), flush=True)
    for key in KEYS:
        gaps = [gap(row, key) for row in rows]
        idle = [row["idle"][key] for row in rows if key in row["idle"]]
        shares = f"; idle mean {mean(idle):.2%}, worst {max(idle):.2%}" if idle else ""
        print(f"{name} {key}: lateness gap mean {mean(gaps):.2%}, worst {max(gaps):.2%}; "
              f"sum {sum(r['late'][key] for r in rows)} s, bound {sum(r['bound'] for r in rows)} s; "
              f"at the bound {sum(r['late'][key] == r['bound'] for r in rows)} of {len(rows)}{shares}")
    print()


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
        print(f"too dry in the {name} plans: {sum(one['dry_s'][name] for one in sites) / 3600:.0f} h")


if __name__ == "__main__":
    main()
