"""Check designs of fixed-arc heads against the input, by other means.

    /usr/bin/python3 .ci/check_arcs.py INPUT.geojson OUTPUT.geojson [--limit 0.05]

Works like check_designs.py, whose view it uses: what a head wets is its disc,
less the shadows of buildings, cut to its sector. From that the wetted and
oversprayed areas, the coverage and the uniformity are worked out again. Where
families are mixed, each runs in inverse proportion to its precipitation rate,
and none shares a valve with another. Ends with status 1 and a list of faults
when anything disagrees.
"""

import argparse
import math
import sys

from shapely.geometry import Point, Polygon, box, shape
from shapely.ops import unary_union
from shapely.prepared import prep

import check_designs as base

# What one head wets may differ by this share, or this area, or by as much as
# near corners of a building sway the edge of a shadow.
AREA_SHARE, AREA = 0.003, 0.05
# Cells start elsewhere than the program's: the published example that the
# program is tested on moves by 0.03 with that.
UNIFORMITY = 0.03
CELL = 0.25  # m
GRADE = 5  # degrees, steps of a sweep


def sector(at, throw, start, sweep):
    """The sector's polygon, a little beyond the throw."""
    if sweep >= 360:
        return Point(at).buffer(2 * throw)
    turns = [math.radians(start + sweep * i / 90) for i in range(91)]
    return Polygon([at] + [(at[0] + 2 * throw * math.sin(t), at[1] + 2 * throw * math.cos(t)) for t in turns])


def wets(lot, solid, at, p):
    throw = p["throw_m"]
    around = box(at[0] - throw - 1, at[1] - throw - 1, at[0] + throw + 1, at[1] + throw + 1)
    seen = base.reach(at, around.difference(solid), throw)
    return seen.intersection(sector(at, throw, p["arc_start_deg"], p["arc_sweep_deg"]))


def sway(lot, solid, at, p):
    """How much what it wets changes with its place within the written grid."""
    step = (-base.PLACE, 0, base.PLACE)
    areas = [wets(lot, solid, (at[0] + dx, at[1] + dy), p).area for dx in step for dy in step]
    return max(areas) - min(areas)


def rates(heads):
    """The precipitation rate of each family, up to a constant: that of its widest
    throws, which are those not turned down."""
    widest = {}
    for _, p, _ in heads:
        r = p["throw_m"]
        density = p["flow_lpm"] / p["arc_sweep_deg"] / r**2
        widest[p["family"]] = min(density, widest.get(p["family"], density))
    return widest


def check_families(lot_id, heads, faults):
    by_zone = {}
    for _, p, _ in heads:
        faults.check(p["family"] and p["model"].startswith(p["family"]), lot_id, "%s of family %s has nozzle %s", p["head"], p["family"], p["model"])
        if p["zone"]:
            by_zone.setdefault(p["zone"], set()).add(p["family"])
    for zone, families in by_zone.items():
        faults.check(len(families) == 1, lot_id, "zone %s mixes %s", zone, sorted(families))


def low_quarter(region, heads):
    """DU of cones: rate falls in a straight line to nothing at full throw."""
    inside = prep(region)
    family = rates(heads)
    first = min(family.values())
    seen = [(at, p, prep(area), first / family[p["family"]]) for at, p, area in heads]
    x0, y0, x1, y1 = region.bounds
    depths = []
    for i in range(int((x1 - x0) / CELL) + 1):
        for j in range(int((y1 - y0) / CELL) + 1):
            c = Point(x0 + (i + 0.5) * CELL, y0 + (j + 0.5) * CELL)
            if inside.contains(c):
                depths.append(sum(runs * rate(at, p, c) for at, p, area, runs in seen if area.contains(c)))
    depths.sort()
    n = (len(depths) + 3) // 4
    return sum(depths[:n]) / n / (sum(depths) / len(depths))


def rate(at, p, c):
    r = p["throw_m"]
    return p["flow_lpm"] / p["arc_sweep_deg"] / r**2 * max(0, 1 - math.dist(at, (c.x, c.y)) / r)


def check_lot(lot_id, given, made, limit, faults):
    lot, row = base.Lot(given), made["lot"][0]["properties"]
    solid = unary_union([lot.building, lot.wall])
    region = lot.plane.take(shape(made["lot"][0]["geometry"]))
    area = region.area
    faults.check(region.difference(lot.region).area <= base.COVERAGE_SHARE * area, lot_id, "the lawn to water lies off the lawn")
    drawn = {f["properties"]["head"]: f for f in made["wetted"]}
    oversprays = {f["properties"]["head"]: f["properties"]["area_m2"] for f in made["overspray"]}
    heads = []
    for f in made["head"]:
        p = f["properties"]
        name, at = p["head"], lot.plane(*f["geometry"]["coordinates"])
        mine = wets(lot, solid, at, p)
        heads.append((at, p, mine))
        faults.check(p["arc_sweep_deg"] % GRADE == 0 and 45 <= p["arc_sweep_deg"] <= 360, lot_id, "%s sweeps %s°", name, p["arc_sweep_deg"])
        off = mine.difference(region).area
        faults.check(off <= limit * mine.area + AREA_SHARE * mine.area, lot_id, "%s throws %.2f of %.2f m² off the lawn", name, off, mine.area)
        slack = max(AREA, AREA_SHARE * mine.area, sway(lot, solid, at, p))
        faults.check(abs(oversprays.get(name, 0) - off) <= slack, lot_id, "%s: overspray %.3f m², here %.3f", name, oversprays.get(name, 0), off)
        outline = lot.plane.take(shape(drawn[name]["geometry"]))
        faults.check(abs(drawn[name]["properties"]["area_m2"] - mine.area) <= slack, lot_id, "%s wets %.3f m², here %.3f", name, drawn[name]["properties"]["area_m2"], mine.area)
        faults.check(outline.symmetric_difference(mine).area <= 2 * slack + 0.005 * mine.area, lot_id, "%s is drawn otherwise than it wets", name)
    check_families(lot_id, heads, faults)
    wet = unary_union([mine for _, _, mine in heads])
    coverage = wet.intersection(region).area / area
    faults.check(abs(coverage - row["coverage"]) <= base.COVERAGE_SHARE, lot_id, "coverage %.5f, here %.5f", row["coverage"], coverage)
    du = low_quarter(region, heads)
    faults.check(abs(du - row["du_lq"]) <= UNIFORMITY, lot_id, "DU of %.3f, here %.3f", row["du_lq"], du)
    if row["status"] == "designed":
        faults.check(row["coverage"] >= row["coverage_target"] and row["du_lq"] >= row["du_target"], lot_id, "designed, yet short of a target")
    else:
        faults.check(row["reason"], lot_id, "%s without a reason", row["status"])
    base.check_heads(lot_id, lot, {p["head"]: at for at, p, _ in heads}, faults)
    base.check_trench(lot_id, lot, made, {p["head"]: at for at, p, _ in heads}, row, faults)
    return len(heads), abs(coverage - row["coverage"]), abs(du - row["du_lq"])


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("input")
    parser.add_argument("output")
    parser.add_argument("--limit", type=float, default=0.05, help="share of what a head wets that may lie off the lawn")
    args = parser.parse_args()
    faults = base.Faults()
    _, given = base.read(args.input)
    _, made = base.read(args.output)
    checked = [check_lot(k, given[k], made[k], args.limit, faults) for k in sorted(made) if made[k]["head"]]
    for f in faults.list:
        print("FAULT", f)
    worst = [max((c[i] for c in checked), default=0) for i in (1, 2)]
    print(f"{len(checked)} lots, {sum(c[0] for c in checked)} fixed-arc heads; coverage agrees within {worst[0]:.6f}, DU within {worst[1]:.3f}; {len(faults.list)} faults")
    return 1 if faults.list or not checked else 0


if __name__ == "__main__":
    sys.exit(main())
