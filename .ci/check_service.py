"""Ask a running lotwright over gRPC (grpcurl) and REST (curl) for designs, lot by
lot and as a batch, and compare them with the command line's, byte for byte.

    /usr/bin/python3 .ci/check_service.py LOTWRIGHT INPUT.geojson PRESSURE FOLDER

PRESSURE is in kilopascals. The smallest lots of the input are used.
"""

import collections
import json
import re
import subprocess
import sys
import time
from pathlib import Path

LOTS = 69
BATCH_LOTS = 12
GRPCURL = ["go", "tool", "-modfile=.ci/tools/go.mod", "grpcurl"]


def smallest(path):
    """The features of the lots with the smallest parcels, as written there."""
    lots = collections.defaultdict(list)
    size = {}
    for f in json.loads(Path(path).read_text())["features"]:
        p = f["properties"]
        lots[p["lot"]].append(f)
        if p["layer"] == "parcel":
            ring = f["geometry"]["coordinates"][0]
            size[p["lot"]] = abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:])))
    chosen = sorted(sorted(size, key=size.get)[:LOTS])
    return {lot: lots[lot] for lot in chosen}


def degrees(positions):
    return {"degrees": [x for p in positions for x in p[:2]]}


def message_geometry(g):
    c = g["coordinates"]
    polygon = lambda rings: {"rings": [degrees(r) for r in rings]}
    return {
        "Point": lambda: {"point": degrees([c])},
        "LineString": lambda: {"line_string": degrees(c)},
        "Polygon": lambda: {"polygon": polygon(c)},
        "MultiLineString": lambda: {"multi_line_string": {"lines": [degrees(l) for l in c]}},
        "MultiPolygon": lambda: {"multi_polygon": {"polygons": [polygon(p) for p in c]}},
    }[g["type"]]()


def message(lot, features):
    return {"lot": lot, "features": [{"layer": f["properties"]["layer"].upper(), "geometry": message_geometry(f["geometry"])} for f in features]}


def lines(collection):
    """The features of a collection as they are written, one a line."""
    out = [l.rstrip(",") for l in collection.splitlines() if l.startswith('{"type":"Feature",')]
    assert out, collection[:300]
    return out


def run(command, text=None):
    done = subprocess.run(command, input=text, capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"FAULT {command[:3]}: {done.stdout[-2000:]}{done.stderr[-2000:]}")
    return done.stdout


def objects(text):
    """JSON objects one after another."""
    decoder, at = json.JSONDecoder(), 0
    while text[at:].strip():
        at += len(text[at:]) - len(text[at:].lstrip())
        value, at = decoder.raw_decode(text, at)
        yield value


def start(lotwright, folder, *more):
    """Start the service on free ports; returns it and its two addresses."""
    log = folder / "serve.log"
    with log.open("w") as out:
        server = subprocess.Popen([lotwright, "serve", *more, "--reflection", "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"], stderr=out)
    for _ in range(200):
        found = re.search(r"grpc=(\S+) http=(\S+)", log.read_text())
        if found:
            return server, found[1], found[2]
        time.sleep(0.1)
    server.terminate()
    sys.exit("FAULT the service does not start:\n" + log.read_text())


def compare(lotwright, lots, kpa, folder):
    body = folder / "lots.geojson"
    body.write_text(json.dumps({"type": "FeatureCollection", "features": [f for fs in lots.values() for f in fs]}))
    written = run([lotwright, "design", str(body), "--head-pressure", f"{kpa}kPa", "--quiet", "-o", "-"])

    server, grpc, http = start(lotwright, folder)
    try:
        posted = run(["curl", "-sS", "--fail-with-body", "-H", "Content-Type: application/geo+json", "--data-binary", f"@{body}",
                      f"http://{http}/v1/lots:design?head_pressure={kpa}kPa"])
        messages = [{"settings": {"supply": {"head_pressure_kpa": kpa}}}] + [{"lot": message(l, fs)} for l, fs in lots.items()]
        streamed = run(GRPCURL + ["-plaintext", "-emit-defaults", "-d", "@", grpc, "lotwright.v1.Designer/DesignLots"], "\n".join(map(json.dumps, messages)))
        one = next(iter(lots))
        request = {"lot": message(one, lots[one]), "settings": messages[0]["settings"]}
        typed = run(["curl", "-sS", "--fail-with-body", "-H", "Content-Type: application/json", "--data-binary", "@-", f"http://{http}/v1/lots:designLot"], json.dumps(request))
    finally:
        server.terminate()
        ended = server.wait(timeout=30)

    want = lines(written)
    from_grpc = [line for o in objects(streamed) for line in lines(o["design"]["geojson"])]
    yield "command line and REST, whole answer", written == posted
    yield "command line and gRPC stream, every feature", from_grpc == want
    yield "command line and REST, one typed lot", lines(json.loads(typed)["design"]["geojson"]) == [l for l in want if json.loads(l)["properties"]["lot"] == one]
    yield f"{len(want)} features of {len(lots)} lots", len(want) > 3 * len(lots)
    yield "service ends in order", ended == 0


def batch(lotwright, lots, kpa, folder):
    """The same as a batch, with an end of the service in the middle of the run."""
    body = folder / "batch.geojson"
    body.write_text(json.dumps({"type": "FeatureCollection", "features": [f for fs in lots.values() for f in fs]}))
    written = run([lotwright, "design", str(body), "--head-pressure", f"{kpa}kPa", "--quiet", "-o", "-"])
    messages = [{"target": {"parent": "batches/elm", "import_id": "monday"}}] + [{"lot": message(l, fs)} for l, fs in lots.items()]
    data = folder / "data"

    def post(http, path, value):
        return run(["curl", "-sSi", "--fail-with-body", "-H", "Content-Type: application/json", "-d", json.dumps(value), f"http://{http}{path}"])

    server, grpc, http = start(lotwright, folder, "--data", str(data))
    try:
        post(http, "/v1/batches", {"batch_id": "elm", "request_id": "create"})
        imported = json.loads(run(GRPCURL + ["-plaintext", "-d", "@", grpc, "lotwright.v1.BatchService/ImportLots"], "\n".join(map(json.dumps, messages))))
        asked = {"settings": {"supply": {"head_pressure_kpa": kpa}}, "request_id": "design"}
        accepted = post(http, "/v1/batches/elm:design", asked)
    finally:
        server.kill()
        server.wait(timeout=30)
    yield "batch: every lot imported", imported.get("added") == len(lots)
    yield "batch: a run is accepted, with the place to ask", " 202 " in accepted and "/v1/operations/" in accepted

    server, grpc, http = start(lotwright, folder, "--data", str(data))
    try:
        repeated = post(http, "/v1/batches/elm:design", asked)
        watched = [json.loads(l)["result"] for l in run(["curl", "-sSN", "--fail-with-body", f"http://{http}/v1/batches/elm:watch"]).splitlines()]
        exported = run(["curl", "-sS", "--fail-with-body", f"http://{http}/v1/batches/elm:export"])
        run([lotwright, "backup", "--data", str(data), str(folder / "copy.db")])
    finally:
        server.terminate()
        ended = server.wait(timeout=30)
    operation = re.search(r"operations/\w+", accepted)[0]
    yield "batch: a request that is repeated starts nothing", operation in repeated and json.loads(body_of(repeated))["metadata"]["revision"] == 1
    yield "batch: every lot is watched once, and the end", sorted(r["lot"]["lot"] for r in watched[:-1]) == sorted(lots) and watched[-1]["end"]["state"] == "DONE"
    yield "batch: command line and export, every feature", sorted(lines(exported)) == sorted(lines(written))
    yield "batch: service ends in order", ended == 0


def walk(lotwright, folder):
    """README.md's walk through files, presets and comparisons, word for word but for the port."""
    root = Path(__file__).resolve().parent.parent
    part = (root / "README.md").read_text().split("Lots also come as files")[1].split("When the operation is done")[0]
    commands = [line for line in part.splitlines() if line.startswith("curl ")]
    here = folder / "walk"
    here.mkdir(exist_ok=True)
    (here / "larkenfold.gpkg").write_bytes((root / "testdata/lots/larkenfold/larkenfold.gpkg").read_bytes())
    server, grpc, http = start(lotwright, folder, "--data", str(folder / "walked"))
    ask = lambda path: json.loads(run(["curl", "-sS", "--fail-with-body", f"http://{http}/{path}"]))
    try:
        said = []
        for line in commands:
            done = subprocess.run(["bash", "-c", line.replace("127.0.0.1:7080", http)], cwd=here, capture_output=True, text=True)
            said.append(done.stdout)
            yield f"README: {line[:70]}…", done.returncode == 0 and '"code"' not in done.stdout and done.stdout.strip() != ""
        yield "README: six commands", len(commands) == 6 and '"added":24' in said[1] and " 202 " in said[4]
        operation = ask("v1/operations")["operations"][0]
        while not operation["done"]:
            time.sleep(0.2)
            operation = ask("v1/" + operation["name"])
        comparison = ask("v1/" + operation["response"]["comparison"])
        heads = [s["heads"] for s in comparison["scenarios"]]
        yield f"README: a comparison of three pressures: {heads}", len(heads) == 3 and heads == sorted(heads, reverse=True) and heads[-1] > 0
        yield "README: the same lot by lot", len(ask("v1/" + operation["response"]["comparison"] + "/lots")["lots"]) == 24
        yield "README: all methods are described", "/v1/headTables" in ask("openapi.json")["paths"]
    finally:
        server.terminate()
        server.wait(timeout=30)


def body_of(answer):
    """The body of an answer with its headers."""
    return answer.split("\n\n", 1)[1]


def main():
    lotwright, given, kpa, folder = sys.argv[1], sys.argv[2], float(sys.argv[3]), Path(sys.argv[4])
    folder.mkdir(parents=True, exist_ok=True)
    faults = 0
    lots = smallest(given)
    few = dict(list(lots.items())[:BATCH_LOTS])
    for check in (compare(lotwright, lots, kpa, folder), batch(lotwright, few, kpa, folder), walk(lotwright, folder)):
        for what, ok in check:
            print("ok" if ok else "FAULT", what)
            faults += not ok
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
