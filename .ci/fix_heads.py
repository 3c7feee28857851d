"""Make lots with fixed heads of lots and their designs.

    /usr/bin/python3 .ci/fix_heads.py INPUT.geojson DESIGNS.geojson OUT.geojson
    /usr/bin/python3 .ci/fix_heads.py --compare DESIGNS.geojson COMPLETED.geojson

Of each designed lot one head of its design is fixed where it stands; on every
other lot, by turns, that head is moved to a random place on the lawn instead. The
second form compares: a head that stays costs nothing, one that was moved one more
at the most, and a bound never lies above the heads.
"""

import json
import random
import sys

from shapely.geometry import Point, shape

# A wall of LK-21 ends 0.4 m from the lot line: whether a head near there sees past
# it hangs on how the end of a wall is drawn, which two programs do differently.
LEFT_ALONE = {"LK-21"}
INSIDE = 0.000004  # degrees, some 0.4 m: clear of paving and buildings


def read(path):
    with open(path, encoding="utf-8") as f:
        return json.load(f)["features"]


def layer(features, name):
    return [f for f in features if f["properties"]["layer"] == name]


def moved(lot):
    """Whether a lot's fixed head is a random place: every other lot, by its id."""
    return sum(lot.encode()) % 2 == 0


def random_place(region, rng):
    inner = region.buffer(-INSIDE)
    x0, y0, x1, y1 = inner.bounds
    while True:
        p = Point(rng.uniform(x0, x1), rng.uniform(y0, y1))
        if inner.contains(p):
            return [round(p.x, 8), round(p.y, 8)]


def make(source, designs, out):
    features, drawn, rng = read(source), read(designs), random.Random(7)
    fixed = []
    for row in layer(drawn, "lot"):
        lot = row["properties"]["lot"]
        heads = [f for f in layer(drawn, "head") if f["properties"]["lot"] == lot]
        if row["properties"]["status"] != "designed" or not heads or lot in LEFT_ALONE:
            continue
        head = rng.choice(heads)
        place = random_place(shape(row["geometry"]), rng) if moved(lot) else head["geometry"]["coordinates"]
        fixed.append({"type": "Feature", "properties": {"lot": lot, "layer": "head", "fixed": True}, "geometry": {"type": "Point", "coordinates": place}})
    with open(out, "w", encoding="utf-8") as f:
        json.dump({"type": "FeatureCollection", "features": [x for x in features if x["properties"]["layer"] != "head"] + fixed}, f)
    print(f"{len(fixed)} lots with a fixed head")


def compare(before, after):
    was = {f["properties"]["lot"]: f["properties"] for f in layer(read(before), "lot")}
    faults, more, same = [], 0, 0
    for f in layer(read(after), "lot"):
        p, q = f["properties"], was[f["properties"]["lot"]]
        if q["status"] != "designed":
            continue
        extra = p["heads"] - q["heads"]
        more, same = more + max(extra, 0), same + (extra <= 0)
        if p["status"] != "designed" or extra > (1 if moved(p["lot"]) else 0):
            faults.append(f"{p['lot']}: {q['heads']} heads, with a fixed one {p['heads']}, {p['status']}")
        if p["heads_bound"] is not None and p["heads_bound"] > p["heads"]:
            faults.append(f"{p['lot']}: a bound of {p['heads_bound']} above {p['heads']} heads")
    print("\n".join(faults))
    print(f"{same} lots with as many heads or fewer, {more} heads more on the others; {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    if sys.argv[1] == "--compare":
        sys.exit(compare(*sys.argv[2:4]))
    make(*sys.argv[1:4])
