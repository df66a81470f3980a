"""What the exporter tells of a site, and spans of time."""

import math
from dataclasses import dataclass, field

FLOW_SCALE = 10_000
HOUR_S = 3600


@dataclass
class Job:
    zone: int
    release: int
    latest: int
    length: int
    starts: dict
    domain: list = field(default_factory=list)
    due: int = 0

    @property
    def moves(self):
        return "settled" not in self.starts

    def at(self, key):
        return self.starts[key] if self.moves else self.starts["settled"]


class Site:
    def __init__(self, told):
        self.until = told["until"]
        self.soak_s = [zone["soak_s"] for zone in told["zones"]]
        # Rounded so that the solver has more room than the planner, never less.
        self.supply = math.ceil(told["supply_l_per_min"] * FLOW_SCALE)
        self.flows = [int(zone["flow_l_per_min"] * FLOW_SCALE) for zone in told["zones"]]
        self.sun = joined((at, at + HOUR_S) for at in told["daylight"])
        self.shut = [joined(sorted(map(tuple, zone["closures"]))) for zone in told["zones"]]

    def job(self, told):
        job = Job(*(told[key] for key in ("zone", "release", "latest", "length", "starts")))
        job.domain = self.starts_in(job.zone, job.release, job.length, self.until)
        # Closures can leave no start in time: lateness counts from the first
        # one that they do leave, so that all of it is for want of supply.
        in_time = any(a <= job.latest for a, _ in job.domain)
        job.due = job.latest if in_time else job.domain[0][0]
        return job

    def starts_in(self, zone, release, length, until):
        """Spans of starts, last second included, that touch no closure."""
        spans, at = [], release
        for a, b in self.shut[zone] + [(math.inf, math.inf)]:
            last = min(a - length, until - 1)
            if last >= at:
                spans.append((at, last))
            at = max(at, b)
        return spans

    def late(self, job, start):
        """Seconds by daylight after the due moment."""
        return within(self.sun, job.due, self.until if start is None else start)

    def open_s(self, a, b):
        """Seconds of a span in which at least one zone may be watered."""
        shut = self.shut[0]
        for other in self.shut[1:]:
            both = ((max(x, u), min(y, v)) for x, y in shut for u, v in other)
            shut = [(x, y) for x, y in both if x < y]
        return b - a - within(shut, a, b)


def joined(spans):
    out = []
    for a, b in spans:
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        else:
            out.append((a, b))
    return out


def within(spans, a, b):
    """Seconds of a span that lie in others."""
    return sum(max(0, min(b, y) - max(a, x)) for x, y in spans)
