"""Jobs that are fixed once: the least lateness, and the least idle supply."""

import math

from ortools.sat.python import cp_model

from told import Job, Site


def jobs_of(site: Site, told):
    """The jobs of a problem by zone and time, after the settled runs."""
    jobs = [site.job(job) for job in told["jobs"]]
    for zone, start, length in told["settled"]:
        jobs.append(Job(zone, start, start, length, {"settled": start}, due=start))
    return sorted(jobs, key=lambda job: (job.zone, job.moves, job.latest))


def check(site, jobs, key):
    """Ends the run if the planner broke a constraint."""
    runs = [(job, start) for job in jobs if (start := job.at(key)) is not None]
    for job, start in runs:
        if job.moves:
            assert any(a <= start <= b for a, b in job.domain), (job, start)
        used = sum(site.flows[o.zone] for o, s in runs if s <= start < s + o.length)
        assert used <= site.supply, (job, used, site.supply)
    for (a, s), (b, t) in zip(runs, runs[1:]):
        if a.zone == b.zone:
            assert t >= s + a.length + site.soak_s[a.zone], (a, b)


def lateness_of(model, site, job, start):
    """A variable that is the job's lateness: piecewise linear in its start."""
    edges = sorted({e for span in site.sun for e in span if e > job.due} | {job.due + 1})
    pieces = []
    for a, b in job.domain:
        cuts = [a] + [e for e in edges if a < e <= b] + [b + 1]
        pieces += [(x, y - 1) for x, y in zip(cuts, cuts[1:])]
    late = model.new_int_var(0, max(site.late(job, b) for _, b in pieces), "")
    chosen = []
    for a, b in pieces:
        here = model.new_bool_var("")
        chosen.append(here)
        span = cp_model.Domain(a, b)
        model.add_linear_expression_in_domain(start, span).only_enforce_if(here)
        first, last = site.late(job, a), site.late(job, b)
        if last > 0:
            slope = 1 if last > first else 0
            model.add(late >= first + slope * (start - a)).only_enforce_if(here)
    model.add_exactly_one(chosen)
    return late


def build(site, jobs):
    """The model, and each job's start and lateness."""
    model = cp_model.CpModel()
    starts, lates = [], []
    for job in jobs:
        if not job.moves:
            starts.append(job.starts["settled"])
            lates.append(0)
            continue
        start = model.new_int_var_from_domain(cp_model.Domain.from_intervals(job.domain), "")
        lates.append(lateness_of(model, site, job, start))
        if job.starts["ours"] is not None:
            model.add_hint(start, job.starts["ours"])
        starts.append(start)
    runs = [
        model.new_fixed_size_interval_var(start, job.length, "")
        for job, start in zip(jobs, starts)
    ]
    model.add_cumulative(runs, [site.flows[job.zone] for job in jobs], site.supply)
    for (a, s), (b, t) in zip(zip(jobs, starts), zip(jobs[1:], starts[1:])):
        if a.zone == b.zone and (a.moves or b.moves):
            model.add(t >= s + a.length + site.soak_s[a.zone])
    return model, starts, lates


def lateness(site, jobs, solve):
    """The bound on the sum of lateness, and whether it is reached."""
    model, _, lates = build(site, jobs)
    model.minimize(sum(lates))
    bound, reached = solve(model)
    return bound, reached


def backlog_end(site, jobs, key):
    """End of the last late run, or none."""
    late = [j for j in jobs if j.moves and site.late(j, j.at(key)) > 0]
    ends = [site.until if j.at(key) is None else j.at(key) + j.length for j in late]
    return max(ends, default=None)


def idle_gap(site, jobs, solve):
    """Supply that stays unused until the last late run has ended, beyond what
    any placement does that is no later in sum than the planner's: share of
    the supply offered meanwhile. The water given is the same, so it is the
    open time by which the planner ends later."""
    ended = backlog_end(site, jobs, "ours")
    if ended is None:
        return 0.0
    model, starts, lates = build(site, jobs)
    model.add(sum(lates) <= sum(site.late(j, j.at("ours")) for j in jobs if j.moves))
    last = model.new_int_var(0, ended, "")
    for job, start, late in zip(jobs, starts, lates):
        if job.moves:
            is_late = model.new_bool_var("")
            model.add(late <= 0).only_enforce_if(~is_late)
            model.add(last >= start + job.length).only_enforce_if(is_late)
    model.minimize(last)
    bound, _ = solve(model)
    begin = min(job.due for job in jobs if job.moves)
    bound = max(bound, begin)
    offered = max(site.open_s(begin, bound), sum(j.length for j in jobs if j.moves))
    return site.open_s(bound, ended) / offered
