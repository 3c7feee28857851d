"""Check designs against the input they were made from, by other means.

    /usr/bin/python3 .ci/check_designs.py INPUT.geojson OUTPUT.geojson [--throw 9.144]

From the input file and the heads of the output everything else is worked out
again: the plane (a series about the lot's middle instead of a projection
library), the irrigated region (GEOS through shapely), what each head reaches
(shadows of the edges taken off the disc), and from them the coverage, the
clearances and the trench. Ends with status 1 and a list of faults when
anything disagrees.

Tolerances: positions are written to 1e-8 degrees (1.1 mm) and worked in whole
millimetres, so two ways of computing one place may differ by 2 mm.
"""

import argparse
import collections
import json
import math
import sys

from shapely.geometry import LineString, MultiPolygon, Point, Polygon, shape
from shapely.ops import transform, unary_union
from shapely.prepared import prep

PLACE = 0.002  # m, see above
COVERAGE_SHARE = 0.001  # of the irrigated area
AREA_SHARE = 0.001  # of the area one head reaches
EDGE_CLEARANCE = 0.10  # m, heads from paving and the lot line
BUILDING_CLEARANCE = 0.30  # m, heads from buildings and walls
TRENCH_CLEARANCE = 0.30  # m, trench from buildings
OPENING = 0.30  # m, half the least strip width
LEAST_PIECE = 0.5  # m²
CRUMB = 0.02  # m², what may vanish on the grid of written positions
WALL_HALF = 0.05  # m, a wall drawn as a line is 0.1 m thick
DISC_CHORDS = 1440  # of the disc a head throws: sagitta under 0.03 mm at 9 m
# No tree is shorter than this share of the minimum spanning tree (Chung and
# Graham 1985 proved 0.824 for any set of points in the plane).
STEINER_LEAST = 0.824

COLUMNS = {  # one geometry type a layer
    "lot": "MultiPolygon", "head": "Point", "wetted": "Polygon", "dry": "MultiPolygon", "narrow": "MultiPolygon",
    "overspray": "MultiPolygon", "trench": "LineString", "pipe": "LineString", "valve": "Point", "note": "Point",
}


class Plane:
    """Metres east and north of a place, by series on the WGS 84 ellipsoid.

    Within 150 m the terms left out are below 10 micrometres (tried against PROJ)."""

    A, E2 = 6378137.0, 0.00669437999014

    def __init__(self, lon, lat):
        self.lon, self.lat = math.radians(lon), math.radians(lat)

    def __call__(self, lon, lat, z=None):
        dl, phi = math.radians(lon) - self.lon, math.radians(lat)
        n = self.A / math.sqrt(1 - self.E2 * math.sin(phi) ** 2)
        middle = (phi + self.lat) / 2
        m = self.A * (1 - self.E2) / (1 - self.E2 * math.sin(middle) ** 2) ** 1.5
        x = n * math.cos(phi) * dl * (1 + (dl * math.cos(phi)) ** 2 / 6 * (1 - math.tan(phi) ** 2))
        y = m * (phi - self.lat) + n * math.sin(phi) * math.cos(phi) * dl * dl / 2
        return x, y

    def take(self, geometry):
        return transform(lambda xs, ys, zs=None: tuple(zip(*map(self, xs, ys))) if hasattr(xs, "__iter__") else self(xs, ys), geometry)


class Faults:
    def __init__(self):
        self.list = []

    def check(self, ok, lot, text, *args):
        if not ok:
            self.list.append(f"{lot}: " + text % args)


def read(path):
    with open(path, encoding="utf-8") as f:
        collection = json.load(f)
    assert collection["type"] == "FeatureCollection", path
    lots = collections.defaultdict(lambda: collections.defaultdict(list))
    for feature in collection["features"]:
        p = feature["properties"]
        lots[p["lot"]][p["layer"]].append(feature)
    return collection["features"], lots


# --- the file -----------------------------------------------------------------


def check_file(features, faults):
    """RFC 7946, one geometry type and one set of properties a layer."""
    keys = {}
    for f in features:
        p, g = f["properties"], f["geometry"]
        lot, layer = p["lot"], p["layer"]
        faults.check(f["type"] == "Feature", lot, "a member is no Feature")
        faults.check(keys.setdefault(layer, list(p)) == list(p), lot, "layer %s: properties differ", layer)
        faults.check(all(v is None or isinstance(v, (str, int, float, bool)) for v in p.values()), lot, "layer %s: properties are not flat", layer)
        if g is None:
            crumb = p.get("area_m2") is not None and p["area_m2"] <= CRUMB
            faults.check(crumb or layer in ("lot", "note"), lot, "layer %s: no geometry", layer)
            continue
        faults.check(g["type"] == COLUMNS[layer], lot, "layer %s: geometry %s", layer, g["type"])
        check_geometry(lot, layer, g, faults)


def check_geometry(lot, layer, g, faults):
    polygons = {"Polygon": [g["coordinates"]], "MultiPolygon": g["coordinates"]}.get(g["type"], [])
    for rings in polygons:
        for i, ring in enumerate(rings):
            faults.check(len(ring) >= 4 and ring[0] == ring[-1], lot, "layer %s: ring not closed", layer)
            faults.check((signed_area(ring) > 0) == (i == 0), lot, "layer %s: ring %d runs the wrong way", layer, i)
    for lon, lat in positions(g["coordinates"]):
        faults.check(-180 <= lon <= 180 and -90 <= lat <= 90, lot, "layer %s: position %r", layer, (lon, lat))
    faults.check(shape(g).is_valid, lot, "layer %s: geometry is not valid", layer)


def signed_area(ring):
    x0, y0 = ring[0]
    return sum((a[0] - x0) * (b[1] - y0) - (b[0] - x0) * (a[1] - y0) for a, b in zip(ring, ring[1:]))


def positions(coordinates):
    if isinstance(coordinates[0], (int, float)):
        yield coordinates
    else:
        for c in coordinates:
            yield from positions(c)


# --- one lot --------------------------------------------------------------------


class Lot:
    """The ground as the input file shows it, in metres."""

    def __init__(self, layers):
        parcel = shape(layers["parcel"][0]["geometry"])
        self.plane = Plane(parcel.centroid.x, parcel.centroid.y)
        self.parcel = self.plane.take(parcel)
        self.building = self.union(layers, "building")
        self.wall = self.union(layers, "wall")
        self.hardscape = self.union(layers, "hardscape")
        self.no_dig = self.union(layers, "no_dig")
        lawn = self.parcel
        if layers.get("turf"):
            lawn = lawn.intersection(self.union(layers, "turf"))
        closed = [self.building, self.wall, self.hardscape, self.union(layers, "water"), self.union(layers, "bed")]
        self.region = opened(lawn.difference(unary_union(closed)))

    def union(self, layers, name):
        parts = []
        for feature in layers.get(name, []):
            g = self.plane.take(shape(feature["geometry"]))
            parts.append(g.buffer(WALL_HALF) if name == "wall" and "Line" in g.type else g)
        return unary_union(parts)


def opened(region):
    """Erosion and dilation with mitred corners, within the region, without crumbs."""
    core = region.buffer(-OPENING, join_style=2, mitre_limit=5)
    back = core.buffer(OPENING + 0.001, join_style=2, mitre_limit=5).intersection(region)
    pieces = [p for p in polygons_of(back) if p.area >= LEAST_PIECE]
    return MultiPolygon(pieces)


def polygons_of(g):
    if g.type == "Polygon":
        return [] if g.is_empty else [g]
    return [p for part in getattr(g, "geoms", []) for p in polygons_of(part)]


def reach(at, region, throw):
    """What a head at a place reaches: its disc, less the shadow of every edge."""
    disc = Polygon([(at[0] + throw * math.cos(2 * math.pi * i / DISC_CHORDS), at[1] + throw * math.sin(2 * math.pi * i / DISC_CHORDS)) for i in range(DISC_CHORDS)])
    near = disc.intersection(region)
    shadows = []
    for polygon in polygons_of(region):
        for ring in (polygon.exterior, *polygon.interiors):
            points = list(ring.coords)
            shadows += filter(None, (shadow(at, a, b, throw) for a, b in zip(points, points[1:])))
    seen = near.difference(unary_union(shadows)) if shadows else near
    return unary_union(polygons_of(seen))


def shadow(at, a, b, throw):
    """The ground behind the edge a-b as seen from at, out beyond the throw."""
    if LineString([a, b]).distance(Point(at)) > throw:
        return None
    ta, tb = (math.atan2(p[1] - at[1], p[0] - at[0]) for p in (a, b))
    turn = (tb - ta + math.pi) % (2 * math.pi) - math.pi
    if abs(turn) < 1e-9:
        return None
    far = [(at[0] + 10 * throw * math.cos(t), at[1] + 10 * throw * math.sin(t)) for t in (tb, ta + turn / 2, ta)]
    quad = Polygon([a, b, *far])
    return quad if quad.is_valid else quad.buffer(0)


def check_lot(lot_id, given, made, throw, faults):
    lot = Lot(given)
    row = made["lot"][0]["properties"]
    heads = {f["properties"]["head"]: lot.plane(*f["geometry"]["coordinates"]) for f in made["head"]}
    near = lambda a, b, slack: abs(a - b) <= slack

    faults.check(row["heads"] == len(heads) == len(made["wetted"]), lot_id, "%s heads stated, %d given", row["heads"], len(heads))
    faults.check(row["heads_bound"] <= len(heads), lot_id, "bound %s above %d heads", row["heads_bound"], len(heads))
    throws = {f["properties"]["head"]: f["properties"]["throw_m"] for f in made["head"]}
    for name, stated in throws.items():
        faults.check(throw is None or near(stated, throw, PLACE), lot_id, "throw of %s is %s m", name, stated)
    area = lot.region.area
    faults.check(near(row["irrigated_m2"], area, COVERAGE_SHARE * area), lot_id, "irrigated %.2f m², here %.2f", row["irrigated_m2"], area)
    drawn = lot.plane.take(shape(made["lot"][0]["geometry"]))
    apart = drawn.symmetric_difference(lot.region).area
    faults.check(apart <= COVERAGE_SHARE * area, lot_id, "irrigated region differs by %.3f m²", apart)

    reaches = {name: reach(at, lot.region, throws[name]) for name, at in heads.items()}
    wetted = unary_union(list(reaches.values()))
    coverage = wetted.area / area
    faults.check(near(row["coverage"], coverage, COVERAGE_SHARE), lot_id, "coverage %.5f, here %.5f", row["coverage"], coverage)
    faults.check(row["coverage"] >= row["coverage_target"], lot_id, "coverage %.5f below its target", row["coverage"])
    faults.check(sum(math.pi * t**2 for t in throws.values()) >= row["coverage_target"] * area, lot_id, "too few heads for the area: impossible")
    slack = row["throw_slack_m"] or 0
    tired = unary_union([reach(at, lot.region, throws[name] - slack) for name, at in heads.items()]).area / area
    faults.check(tired >= row["coverage_target"] - COVERAGE_SHARE, lot_id, "with %.3f m less throw coverage is %.5f, yet that is stated as slack", slack, tired)
    dry = unary_union([lot.plane.take(shape(f["geometry"])) for f in made["dry"]]).area if made["dry"] else 0
    faults.check(near(dry, area - wetted.area, COVERAGE_SHARE * area), lot_id, "dry area %.2f m², here %.2f", dry, area - wetted.area)

    fixed = check_fixed(lot_id, lot, given, made, heads, faults)
    check_heads(lot_id, lot, {name: at for name, at in heads.items() if name not in fixed}, faults)
    check_wetted(lot_id, lot, made, reaches, heads, faults)
    check_trench(lot_id, lot, made, heads, row, faults)
    check_pipe(lot_id, lot, made, row, faults)
    return abs(row["coverage"] - coverage), len(heads)


def check_fixed(lot_id, lot, given, made, heads, faults):
    """Fixed heads of the input stay where they are, and no other is called so."""
    wanted = [lot.plane(*f["geometry"]["coordinates"]) for f in given.get("head", []) if f["properties"].get("fixed")]
    fixed = {f["properties"]["head"] for f in made["head"] if f["properties"]["fixed"]}
    for at in wanted:
        near = [name for name in fixed if math.dist(at, heads[name]) <= PLACE]
        faults.check(len(near) == 1, lot_id, "no fixed head stands at %s", at)
    row = made["lot"][0]["properties"]
    faults.check(row["heads_fixed"] == len(fixed) == len(wanted), lot_id, "%d heads are fixed, %d are so called, %s stated", len(wanted), len(fixed), row["heads_fixed"])
    return fixed


def check_heads(lot_id, lot, heads, faults):
    for name, at in heads.items():
        p = Point(at)
        faults.check(lot.region.distance(p) <= PLACE, lot_id, "%s stands outside the irrigated region", name)
        for what, ground, least in (
            ("the lot line", lot.parcel.boundary, EDGE_CLEARANCE),
            ("paving", lot.hardscape, EDGE_CLEARANCE),
            ("a building", lot.building, BUILDING_CLEARANCE),
            ("a wall", lot.wall, BUILDING_CLEARANCE),
        ):
            d = ground.distance(p) if not ground.is_empty else math.inf
            faults.check(d >= least - PLACE or on_middle_line(lot, p, least), lot_id, "%s is %.3f m from %s", name, d, what)


def on_middle_line(lot, p, least):
    """Contract 4.3: where a strip is too narrow, heads stand on its middle line."""
    edge = lot.region.boundary
    near = edge.interpolate(edge.project(p)) if edge.type == "LineString" else min(
        (line.interpolate(line.project(p)) for line in edge.geoms), key=p.distance)
    d = p.distance(near)
    if d == 0:
        return False
    dx, dy = (p.x - near.x) / d, (p.y - near.y) / d
    across = LineString([(near.x + 0.01 * dx, near.y + 0.01 * dy), (p.x + 2 * least * dx, p.y + 2 * least * dy)])
    hit = across.intersection(edge)
    return not hit.is_empty and abs(hit.distance(p) - d) <= 0.05


def within_sway(stated, at, region, throw):
    """Whether an area is what the head reaches with its place and the edges
    within their tolerance: a near corner sways the edge of a shadow, and a gap
    of a millimetre may be open or not."""
    offsets, edges = (-PLACE, 0, PLACE), (region.buffer(-PLACE, join_style=2), region.buffer(PLACE, join_style=2))
    areas = [reach((at[0] + dx, at[1] + dy), e, throw).area for e in edges for dx in offsets for dy in offsets]
    return min(areas) * (1 - AREA_SHARE) <= stated <= max(areas) * (1 + AREA_SHARE)


def check_wetted(lot_id, lot, made, reaches, heads, faults):
    region, solid = lot.region.buffer(PLACE), lot.building.buffer(-PLACE)
    for f in made["wetted"]:
        name = f["properties"]["head"]
        drawn = lot.plane.take(shape(f["geometry"]))
        faults.check(drawn.difference(region).area <= 1e-3, lot_id, "%s wets %.4f m² outside the irrigated region", name, drawn.difference(region).area)
        faults.check(drawn.intersection(solid).area <= 1e-3, lot_id, "%s wets a building", name)
        throw = f["properties"]["throw_m"]
        farthest = max(Point(heads[name]).distance(Point(c)) for c in drawn.exterior.coords)
        faults.check(farthest <= throw + 2 * PLACE, lot_id, "%s is drawn reaching %.3f m", name, farthest)
        mine, stated = reaches[name].area, f["properties"]["area_m2"]
        agree = abs(stated - mine) <= AREA_SHARE * mine or within_sway(stated, heads[name], lot.region, throw)
        faults.check(agree, lot_id, "%s wets %.3f m², here %.3f", name, stated, mine)
        apart = drawn.symmetric_difference(reaches[name]).area
        faults.check(apart <= max(0.005 * mine, 0.15), lot_id, "%s is drawn %.3f m² off", name, apart)


# --- the trench -------------------------------------------------------------------


def check_trench(lot_id, lot, made, heads, row, faults):
    inside, solid = lot.parcel.buffer(2 * PLACE), lot.building.buffer(-PLACE)
    total = paving = 0.0
    joined, ends = Groups(), collections.defaultdict(list)
    for f in made["trench"]:
        p, line = f["properties"], lot.plane.take(shape(f["geometry"]))
        faults.check(abs(p["length_m"] - line.length) <= 0.005 + 0.001 * line.length, lot_id, "trench %s-%s: %.3f m stated, %.3f drawn", p["from"], p["to"], p["length_m"], line.length)
        faults.check(inside.contains(line), lot_id, "trench %s-%s leaves the parcel", p["from"], p["to"])
        faults.check(line.intersection(solid).length <= PLACE, lot_id, "trench %s-%s goes through a building", p["from"], p["to"])
        faults.check(line.intersection(lot.no_dig.buffer(-PLACE)).length <= PLACE, lot_id, "trench %s-%s goes through no-dig ground", p["from"], p["to"])
        under = line.intersection(lot.hardscape).length
        if p["surface"] == "soil":  # which may follow the edge of paving
            under = line.intersection(lot.hardscape.buffer(-PLACE)).length
            faults.check(under <= 0.05 + 0.01 * line.length, lot_id, "trench %s-%s is soil, yet %.3f m under paving", p["from"], p["to"], under)
        if p["surface"] == "paving":
            paving += p["length_m"]
            faults.check(under >= 0.95 * line.length - 0.05, lot_id, "trench %s-%s is paving, yet only %.3f of %.3f m", p["from"], p["to"], under, line.length)
        total += p["length_m"]
        a, b = line.coords[0], line.coords[-1]
        joined.join(p["from"], p["to"])
        ends[p["from"], p["to"]] += [a, b]
    faults.check(abs(total - row["trench_m"]) <= 0.001 * (1 + len(made["trench"])), lot_id, "trench %.3f m stated, runs sum to %.3f", row["trench_m"], total)
    faults.check(row["trench_m"] <= row["spanning_tree_m"] + 0.001, lot_id, "trench longer than the spanning tree")
    faults.check(abs(paving - row["paving_crossing_m"]) <= 0.01 + 0.001 * paving, lot_id, "under paving %.3f m stated, runs sum to %.3f", row["paving_crossing_m"], paving)
    for name, at in heads.items():
        faults.check(joined.same("POC", name), lot_id, "%s is not joined to the point of connection", name)
        touching = min((math.dist(at, e) for pair, es in ends.items() if name in pair for e in es), default=math.inf)
        faults.check(touching <= 2 * PLACE, lot_id, "no trench ends at %s (%.3f m)", name, touching)
    faults.check(total >= STEINER_LEAST * spanning_tree(list(heads.values())) - 0.01, lot_id, "trench of %.3f m cannot join these heads", total)


def check_pipe(lot_id, lot, made, row, faults):
    """Pipe lies in the trench, and its runs sum to what is stated."""
    trench = unary_union([lot.plane.take(shape(f["geometry"])) for f in made["trench"]]).buffer(2 * PLACE)
    total = 0.0
    for f in made["pipe"]:
        p, line = f["properties"], lot.plane.take(shape(f["geometry"]))
        faults.check(trench.contains(line), lot_id, "pipe %s lies outside the trench", p["pipe"])
        faults.check(abs(p["length_m"] - line.length) <= 0.005 + 0.001 * line.length, lot_id, "pipe %s: %.3f m stated, %.3f drawn", p["pipe"], p["length_m"], line.length)
        total += p["length_m"]
    faults.check(abs(total - row["pipe_m"]) <= 0.001 * (1 + len(made["pipe"])), lot_id, "pipe %.3f m stated, runs sum to %.3f", row["pipe_m"], total)


class Groups:
    """Which names hang together."""

    def __init__(self):
        self.parent = {}

    def root(self, x):
        while self.parent.setdefault(x, x) != x:
            x = self.parent[x]
        return x

    def join(self, a, b):
        self.parent[self.root(a)] = self.root(b)

    def same(self, a, b):
        return self.root(a) == self.root(b)


def spanning_tree(points):
    """Length of the straight-line minimum spanning tree (Prim)."""
    if not points:
        return 0.0
    best = {i: math.dist(points[0], points[i]) for i in range(1, len(points))}
    total = 0.0
    while best:
        i = min(best, key=lambda k: (best[k], k))
        total += best.pop(i)
        for k in best:
            best[k] = min(best[k], math.dist(points[i], points[k]))
    return total


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("input")
    parser.add_argument("output")
    parser.add_argument("--throw", type=float, help="throw in metres that every head must have; default: what each head states")
    args = parser.parse_args()

    faults = Faults()
    _, given = read(args.input)
    features, made = read(args.output)
    check_file(features, faults)
    wanted = sorted(given)
    order = [f["properties"]["lot"] for f in features if f["properties"]["layer"] == "lot"]
    faults.check(order == wanted, "file", "lots are not those of the input, once each and in order")

    worst, heads, designed = 0.0, 0, 0
    for lot_id in wanted:
        row = made[lot_id]["lot"][0]["properties"]
        if row["status"] != "designed":
            faults.check(row["reason"], lot_id, "%s without a reason", row["status"])
            print(f"not designed: {lot_id} ({row['status']}): {row['reason']}")
            continue
        off, n = check_lot(lot_id, given[lot_id], made[lot_id], args.throw, faults)
        worst, heads, designed = max(worst, off), heads + n, designed + 1
    for f in faults.list:
        print("FAULT", f)
    print(f"{designed} of {len(wanted)} lots designed, {heads} heads; coverage agrees within {worst:.6f}; {len(faults.list)} faults")
    return 1 if faults.list or not designed else 0


if __name__ == "__main__":
    sys.exit(main())
