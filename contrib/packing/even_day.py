"""A day of zones that dry evenly, so that needs follow the water given.

A zone's next run is due `latest` after the end of the one before and not
possible sooner than `soonest` after it. How many runs it takes is free.
Lateness is counted by each zone's open time.
"""

from ortools.sat.python import cp_model

from told import Site, within


class Day:
    """Times count from the first release; zones of a part of the day may
    begin otherwise."""

    def __init__(self, site: Site, told):
        zero = min(zone["release"] for zone in told["zones"])
        shift = lambda zone: {
            **zone, "release": zone["release"] - zero, "due": zone["due"] - zero,
        }
        self.site, self.zero = site, zero
        self.end = told["end"] - zero
        self.zones = [shift(zone) for zone in told["zones"]]
        self.runs = {
            key: [[start - zero for start in starts] for starts in told[key]]
            for key in ("alone", "ours")
        }
        self.shut = [
            [(max(a - zero, 0), b - zero) for a, b in spans if b > zero] for spans in site.shut
        ]

    def open_s(self, zone, a, b):
        return b - a - within(self.shut[zone], a, b) if b > a else 0

    def spans(self, key):
        """All runs as zone, due, earliest, start, end, and a last entry per
        zone without a run where it is due before the end."""
        for index, zone in enumerate(self.zones):
            due, free = zone["due"], zone["release"]
            for start in self.runs[key][index]:
                end = start + zone["length"]
                yield index, due, free, start, end
                due, free = end + zone["latest"], end + zone["soonest"]
            if due < self.end:
                yield index, due, free, self.end, self.end

    def check(self, key):
        """Ends the run if the planner broke a constraint."""
        runs = [run for run in self.spans(key) if run[4] > run[3]]
        for zone, _, free, start, end in runs:
            assert start >= free and within(self.shut[zone], start, end) == 0
            used = sum(self.site.flows[z] for z, _, _, a, b in runs if a <= start < b)
            assert used <= self.site.supply

    def late(self, key):
        return sum(self.open_s(zone, due, start) for zone, due, _, start, _ in self.spans(key))

    def work(self):
        return sum(end - start for _, _, _, start, end in self.spans("ours"))

    def idle(self, key):
        """Share of the day's supply unused while a zone waits that is late
        and could be watered at once, as far as its closures and the flow go."""
        runs = list(self.spans(key))
        edges = {t for _, due, _, a, b in runs for t in (due, a, b)}
        edges |= {t for spans in self.shut for span in spans for t in span}
        edges = sorted(t for t in edges if 0 <= t <= self.end)
        idle = 0
        for a, b in zip(edges, edges[1:]):
            free = self.site.supply - sum(
                self.site.flows[zone] for zone, _, _, s, e in runs if s <= a < e
            )
            waits = any(
                max(due, earliest) <= a < start and self.site.flows[zone] <= free
                and within(self.shut[zone], a, a + self.zones[zone]["length"]) == 0
                for zone, due, earliest, start, _ in runs
            )
            idle += free * (b - a) if waits else 0
        opened = self.site.open_s(self.zero, self.zero + self.end)
        return idle / (self.site.supply * opened)


def bound(day, solve):
    """A lower bound on the lateness of the day, and whether it is the least.

    Lateness before the last closure by day ends and after it are apart, so
    their bounds add up. After it, a zone is taken to have been watered as
    late as it can have been, and short looks at the first runs bound the
    whole: all of these leave constraints out."""
    ours = min(day.late("ours"), day.late("alone"))
    if ours == 0:
        return 0, True
    reopened = max((b for spans in day.shut for _, b in spans if 0 < b < day.end), default=0)
    before = after = whole = 0
    if reopened:
        later = reopening(day, reopened)
        for most in (None, 2):
            before = max(before, least(day, day.zones, reopened, most, solve)[0])
        for most in (1, 2, None):
            if before + after < ours:
                after = max(after, least(day, later, day.end, most, solve)[0])
    optimal = False
    for most in (None, 2):
        if max(before + after, whole) < ours:
            found, reached = least(day, day.zones, day.end, most, solve)
            whole = max(whole, found)
            optimal |= reached and most is None
    bound = max(before + after, whole)
    return bound, optimal or bound == ours


def reopening(day, reopened):
    zones = []
    for zone, shut in zip(day.zones, day.shut):
        closed = [a for a, b in shut if b == reopened]
        last_end = closed[0] if closed else reopened + zone["length"]
        due = max(reopened, zone["due"], last_end + zone["latest"])
        zones.append({**zone, "release": reopened, "due": due})
    return zones


def least(day, zones, end, most, solve):
    """Bound on the lateness of at most `most` runs of each zone until `end`."""
    model = cp_model.CpModel()
    lates, runs, flows = [], [], []
    for index, zone in enumerate(zones):
        length, soonest = zone["length"], zone["soonest"]
        domain = day.site.starts_in(
            index, zone["release"] + day.zero, length, end + day.zero
        )
        domain = [(a - day.zero, b - day.zero) for a, b in domain]
        shut = [(a, min(b, end)) for a, b in day.shut[index] if a < end]
        count = max(0, end - zone["release"]) // (length + soonest) + 1
        due, free, before = zone["due"], zone["release"], None
        for _ in range(min(count, most or count)):
            given = model.new_bool_var("")
            start = model.new_int_var(0, end, "")
            spans = cp_model.Domain.from_intervals(domain)
            model.add_linear_expression_in_domain(start, spans).only_enforce_if(given)
            model.add(start == end).only_enforce_if(~given)
            model.add(start >= free).only_enforce_if(given)
            if before is not None:
                model.add_implication(given, before)
            runs.append(model.new_optional_fixed_size_interval_var(start, length, given, ""))
            flows.append(day.site.flows[index])
            lates.append(open_between(model, shut, due, start, end))
            due, free, before = start + length + zone["latest"], start + length + soonest, given
    model.add_cumulative(runs, flows, day.site.supply)
    model.minimize(sum(lates))
    found, reached = solve(model)
    return max(0, found), reached


def open_between(model, shut, a, b, end):
    """At least the open seconds from `a` to `b`."""
    late = model.new_int_var(0, end, "")
    closed = sum(
        clipped(model, b, x, y, end) - clipped(model, a, x, y, end) for x, y in shut
    )
    model.add(late >= b - a - closed)
    return late


def clipped(model, at, a, b, end):
    """Seconds of the span a to b that lie before an instant."""
    if isinstance(at, int):
        return min(max(at - a, 0), b - a)
    least, both = model.new_int_var(-10 * end, b - a, ""), model.new_int_var(0, b - a, "")
    model.add_min_equality(least, [at - a, b - a])
    model.add_max_equality(both, [least, 0])
    return both
