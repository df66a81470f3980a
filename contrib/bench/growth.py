#!/usr/bin/env python3
"""Draws the growth of planning time from the lines of the timetable bench.

growth.py FILE.svg < lines; both axes logarithmic, dashed is n log n from the
first point."""
import math
import re
import sys

LINE = re.compile(r"(\d+) zones, (\d+) days: ([0-9.]+) s")
WIDTH, HEIGHT, MARGIN = 360, 300, 52


def axis(low, high):
    """Powers of ten and their 2 and 5 between two bounds."""
    ticks = []
    power = math.floor(math.log10(low))
    while 10.0**power <= high:
        ticks += [f * 10.0**power for f in (1, 2, 5) if low <= f * 10.0**power <= high]
        power += 1
    return ticks


def panel(left, title, unit, points):
    """One plot of seconds against a count."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    first_x, first_y = points[0]
    bound = [(x, first_y * x * math.log(x) / (first_x * math.log(first_x))) for x in xs]
    low, high = min(ys) / 1.5, max(max(ys), bound[-1][1]) * 1.5
    scale_x = (WIDTH - MARGIN - 20) / math.log(xs[-1] / xs[0])
    scale_y = (HEIGHT - 2 * MARGIN) / math.log(high / low)

    def at(x, y):
        return (
            left + MARGIN + scale_x * math.log(x / xs[0]),
            HEIGHT - MARGIN - scale_y * math.log(y / low),
        )

    def line(pairs, style):
        text = " ".join("%.1f,%.1f" % at(x, y) for x, y in pairs)
        return f'<polyline points="{text}" fill="none" {style}/>'

    out = [f'<text x="{left + MARGIN}" y="24" class="t">{title}</text>']
    for y in axis(low, high):
        px, py = at(xs[0], y)
        out.append(f'<line x1="{px:.1f}" x2="{left + WIDTH - 20}" y1="{py:.1f}" y2="{py:.1f}" class="g"/>')
        out.append(f'<text x="{px - 6:.1f}" y="{py + 4:.1f}" class="r">{y * 1000:g} ms</text>')
    for x in xs:
        px, py = at(x, low)
        out.append(f'<text x="{px:.1f}" y="{py + 18:.1f}" class="m">{x}</text>')
    out.append(f'<text x="{left + (WIDTH + MARGIN) / 2:.0f}" y="{HEIGHT - 12}" class="m">{unit}</text>')
    out.append(line(bound, 'stroke="#888" stroke-dasharray="5 4"'))
    out.append(line(points, 'stroke="#1b6b3a" stroke-width="2"'))
    out += ['<circle cx="%.1f" cy="%.1f" r="3.5" fill="#1b6b3a"/>' % at(x, y) for x, y in points]
    return out


def main():
    rows = [(int(z), int(d), float(s)) for z, d, s in LINE.findall(sys.stdin.read())]
    by_zones = [(z, s) for z, d, s in rows if d == 60]
    by_days = [(d, s) for z, d, s in rows if z == 8]
    if len(by_zones) < 2 or len(by_days) < 2:
        sys.exit("growth.py: no lines of the timetable bench to draw")
    style = (
        "text{font:12px sans-serif;fill:#222}.t{font-weight:bold}.r{text-anchor:end}"
        ".m{text-anchor:middle}.g{stroke:#ddd}"
    )
    body = panel(0, "60 days, by zones", "zones", by_zones)
    body += panel(WIDTH, "8 zones, by days", "days", by_days)
    with open(sys.argv[1], "w", encoding="utf-8") as file:
        file.write(
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{2 * WIDTH}" height="{HEIGHT}" '
            f'viewBox="0 0 {2 * WIDTH} {HEIGHT}"><style>{style}</style>'
            f'<rect width="100%" height="100%" fill="#fff"/>{"".join(body)}</svg>\n'
        )


main()
