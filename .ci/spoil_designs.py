"""Prove that check_designs.py can fail: spoil a sound map in one way after the
other and see each noticed.

    /usr/bin/python3 .ci/spoil_designs.py INPUT.geojson OUTPUT.geojson FOLDER
"""

import copy
import json
import subprocess
import sys
from pathlib import Path


def of(layer):
    return lambda f: f["properties"]["layer"] == layer


def first(features, layer):
    return next(f for f in features if f["properties"]["layer"] == layer and f["geometry"])


def move(position, metres):
    position[1] += metres / 111_000


def shift_head(fs):
    move(first(fs, "head")["geometry"]["coordinates"], 0.3)


def overstate_coverage(fs):
    first(fs, "lot")["properties"]["coverage"] += 0.003


def drop_head(fs):
    fs.remove(first(fs, "head"))


def grow_throw(fs):
    first(fs, "head")["properties"]["throw_m"] += 0.05


def shrink_irrigated(fs):
    first(fs, "lot")["properties"]["irrigated_m2"] *= 0.99


def bulge_wetted(fs):
    ring = first(fs, "wetted")["geometry"]["coordinates"][0]
    for p in ring:
        move(p, 0.2)


def drop_trench(fs):
    lot = first(fs, "trench")["properties"]["lot"]
    runs = [f for f in fs if of("trench")(f) and f["properties"]["lot"] == lot]
    fs.remove(runs[-1])


def bend_trench(fs):
    move(first(fs, "trench")["geometry"]["coordinates"][-1], 60)


def understate_trench(fs):
    first(fs, "trench")["properties"]["length_m"] -= 0.2


def overstate_bound(fs):
    p = first(fs, "lot")["properties"]
    p["heads_bound"] = p["heads"] + 1


def overstate_slack(fs):
    first(fs, "lot")["properties"]["throw_slack_m"] += 1


def move_pipe(fs):
    for p in first(fs, "pipe")["geometry"]["coordinates"]:
        move(p, 1)


def reverse_ring(fs):
    first(fs, "wetted")["geometry"]["coordinates"][0].reverse()


def open_ring(fs):
    first(fs, "lot")["geometry"]["coordinates"][0][0].pop()


def drop_property(fs):
    del first(fs, "wetted")["properties"]["area_m2"]


def drop_lot(fs):
    lot = first(fs, "lot")["properties"]["lot"]
    fs[:] = [f for f in fs if f["properties"]["lot"] != lot]


def swap_lots(fs):
    fs.append(fs.pop(0))


SPOILERS = [
    shift_head, overstate_coverage, drop_head, grow_throw, shrink_irrigated, bulge_wetted, drop_trench, bend_trench,
    understate_trench, overstate_bound, overstate_slack, move_pipe, reverse_ring, open_ring, drop_property, drop_lot, swap_lots,
]


def main():
    given, made, folder = sys.argv[1], json.loads(Path(sys.argv[2]).read_text()), Path(sys.argv[3])
    folder.mkdir(parents=True, exist_ok=True)
    # Three designed lots are enough to spoil.
    sound = [f["properties"]["lot"] for f in made["features"] if of("lot")(f) and f["properties"]["status"] == "designed"][:3]
    keep = lambda c: {"type": "FeatureCollection", "features": [f for f in c["features"] if f["properties"]["lot"] in sound]}
    some_input, some_output = folder / "input.geojson", folder / "output.geojson"
    some_input.write_text(json.dumps(keep(json.loads(Path(given).read_text()))))
    made = keep(made)

    def passes(collection):
        some_output.write_text(json.dumps(collection))
        check = [sys.executable, "-B", str(Path(__file__).with_name("check_designs.py")), some_input, some_output]
        return subprocess.run(check, capture_output=True).returncode == 0

    if not passes(made):
        print("FAULT the map does not pass unspoiled")
        return 1
    missed = []
    for spoil in SPOILERS:
        spoiled = copy.deepcopy(made)
        spoil(spoiled["features"])
        if passes(spoiled):
            missed.append(spoil.__name__)
    print(f"{len(SPOILERS) - len(missed)} of {len(SPOILERS)} spoiled maps noticed", *missed)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
