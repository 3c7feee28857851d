"""Read a stored batch over OGC API - Features and as vector tiles, as mapping tools
do, and compare what they see with the schema and with the batch's export.

    /usr/bin/python3 .ci/check_maps.py LOTWRIGHT INPUT.geojson FOLDER [LOTS]

The lots of the input are designed as a batch, for a coverage that is quickly had. With LOTS, so
many copies of them are, laid out side by side by a seeded generator, and the times
that QGIS and GDAL take are printed: that is for measuring, and takes its time.

Seen with GDAL 3.6.2 and QGIS 3.22.16.
"""

import collections
import contextlib
import json
import os
import random
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from check_service import GRPCURL, message, run, start  # noqa: E402

SETTINGS = {"supply": {"head_pressure_kpa": 380}, "coverage_target": 0.9}
QGIS_TYPES = {"string": "String", "integer": "int", "number": "double", "boolean": "bool"}
OGR_TYPES = {"string": "String", "integer": "Integer", "number": "Real", "boolean": "Integer(Boolean)"}


def features_of(path):
    lots = collections.defaultdict(list)
    for f in json.loads(Path(path).read_text())["features"]:
        lots[f["properties"]["lot"]].append(f)
    return lots


def moved(geometry, dx, dy):
    shift = lambda c: [round(c[0] + dx, 8), round(c[1] + dy, 8)] if isinstance(c[0], (int, float)) else [shift(x) for x in c]
    return {"type": geometry["type"], "coordinates": shift(geometry["coordinates"])}


def copies(lots, wanted, seed=7):
    """Copies of lots on a grid of 50 m, in an order of their own."""
    chance, out, names = random.Random(seed), {}, sorted(lots)
    side = int(wanted**0.5) + 1
    for k in range(wanted):
        name = chance.choice(names)
        corner = lots[name][0]["geometry"]["coordinates"][0][0]
        dx, dy = -30 + (k % side) * 6e-4 - corner[0], 40 + (k // side) * 5e-4 - corner[1]
        out[f"C-{k + 1:05d}"] = [{**f, "geometry": moved(f["geometry"], dx, dy)} for f in lots[name]]
    return out


@contextlib.contextmanager
def stored(lotwright, lots, folder):
    """A service with a designed batch called elm; gives its HTTP address."""
    server, grpc, http = start(lotwright, folder, "--data", str(folder / "data"))
    post = lambda path, value: run(["curl", "-sS", "--fail-with-body", "-H", "Content-Type: application/json", "-d", json.dumps(value), f"http://{http}{path}"])
    try:
        post("/v1/batches", {"batch_id": "elm", "batch": {"title": "Elm Street"}})
        lines = [json.dumps({"target": {"parent": "batches/elm", "import_id": "one"}})] + [json.dumps({"lot": message(l, fs)}) for l, fs in lots.items()]
        imported = json.loads(run(GRPCURL + ["-plaintext", "-d", "@", grpc, "lotwright.v1.BatchService/ImportLots"], "\n".join(lines)))
        assert imported["added"] == len(lots), imported
        post("/v1/batches/elm:design", {"settings": SETTINGS})
        run(["curl", "-sSN", "--fail-with-body", "-o", str(folder / "watched"), f"http://{http}/v1/batches/elm:watch"])
        yield http
    finally:
        server.terminate()
        assert server.wait(timeout=30) == 0, "the service does not end in order"


def get(url):
    with urllib.request.urlopen(url) as answer:
        return json.loads(answer.read())


def schemas(root):
    """The properties of every collection with their types, in order."""
    out = {}
    for c in get(root + "/collections")["collections"]:
        at = next(l["href"] for l in c["links"] if l["rel"] == "describedby")
        out[c["id"]] = {name: p["type"] for name, p in get(at)["properties"]["properties"]["properties"].items()}
    return out


def exported(http):
    """The features of the batch by layer, as REST gives them."""
    layers = collections.defaultdict(list)
    for f in get(f"http://{http}/v1/batches/elm:export")["features"]:
        layers[f["properties"]["layer"]].append(f)
    return layers


def python(script, folder, *args):
    """Run one of the parts below in a Python of its own, with a home of its own:
    QGIS keeps what it reads of a service there."""
    home = tempfile.mkdtemp(dir=folder)
    env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": home, "XDG_RUNTIME_DIR": home, "LC_ALL": "C.UTF-8"}
    done = subprocess.run(["/usr/bin/python3", "-B", "-c", script, *map(str, args)], env=env, capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"FAULT {done.stdout[-2000:]}{done.stderr[-3000:]}")
    return json.loads(done.stdout.splitlines()[-1])


# What GDAL sees of every layer; counted by reading all features, not by asking.
OGR = """
import json, sys
from osgeo import ogr
ogr.UseExceptions()
source = ogr.Open("OAPIF:" + sys.argv[1])
out = {}
for i in range(source.GetLayerCount()):
    layer = source.GetLayer(i)
    d = layer.GetLayerDefn()
    fields = {}
    for k in range(d.GetFieldCount()):
        f = d.GetFieldDefn(k)
        fields[f.GetName()] = f.GetTypeName() + ("(Boolean)" if f.GetSubType() == ogr.OFSTBoolean else "")
    ids, values = [], []
    for f in layer:
        ids.append(f.GetFID())
        values.append({n: f.GetField(n) for n in fields})
    out[layer.GetName()] = {"told": layer.GetFeatureCount(), "fields": fields, "ids": ids, "values": values, "extent": layer.GetExtent() if ids else None}
print(json.dumps(out))
"""

# The same for QGIS, which also judges every geometry.
QGIS = """
import json, sys
from qgis.core import QgsApplication, QgsFeatureRequest, QgsRectangle, QgsVectorLayer
app = QgsApplication([], False)
app.initQgis()
out = {}
for name in sys.argv[2:]:
    layer = QgsVectorLayer(f"url='{sys.argv[1]}' typename='{name}' pageSize='1000'", name, "OAPIF")
    features = list(layer.getFeatures())
    out[name] = {
        "valid": layer.isValid(), "fields": {f.name(): f.typeName() for f in layer.fields()}, "count": len(features),
        "invalid": sum(not f.geometry().isNull() and not f.geometry().isGeosValid() for f in features),
        "crs": layer.crs().authid(),
    }
print(json.dumps(out))
"""

# QGIS at work on a part of the map: only what the canvas shows is asked for.
QGIS_BOX = """
import json, sys, time
from qgis.core import QgsApplication, QgsFeatureRequest, QgsRectangle, QgsVectorLayer
app = QgsApplication([], False)
app.initQgis()
out = {}
box = QgsRectangle(*map(float, sys.argv[2].split(",")))
for name in sys.argv[3:]:
    began = time.time()
    layer = QgsVectorLayer(f"url='{sys.argv[1]}' typename='{name}' pageSize='1000' restrictToRequestBBOX='1'", name, "OAPIF")
    opened = time.time()
    count = sum(1 for _ in layer.getFeatures(QgsFeatureRequest(box)))
    out[name] = {"count": count, "open_s": round(opened - began, 2), "read_s": round(time.time() - opened, 2)}
print(json.dumps(out))
"""

# Vector tiles as QGIS draws them: tiles are z/row/col, which it calls z/y/x.
QGIS_TILES = """
import json, sys
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor
from qgis.core import QgsApplication, QgsCoordinateReferenceSystem, QgsCoordinateTransform, QgsMapRendererSequentialJob, QgsMapSettings, QgsProject, QgsRectangle, QgsVectorTileLayer
app = QgsApplication([], False)
app.initQgis()
layer = QgsVectorTileLayer(f"type=xyz&url={sys.argv[1]}/tiles/WebMercatorQuad/{{z}}/{{y}}/{{x}}&zmin=10&zmax=22", "tiles")
mercator = QgsCoordinateReferenceSystem("EPSG:3857")
s = QgsMapSettings()
s.setLayers([layer])
s.setDestinationCrs(mercator)
s.setBackgroundColor(QColor("white"))
s.setOutputSize(QSize(600, 600))
to = QgsCoordinateTransform(QgsCoordinateReferenceSystem("EPSG:4326"), mercator, QgsProject.instance())
s.setExtent(to.transformBoundingBox(QgsRectangle(*map(float, sys.argv[2].split(",")))))
job = QgsMapRendererSequentialJob(s)
job.start()
job.waitForFinished()
image = job.renderedImage()
drawn = sum(image.pixelColor(x, y) != QColor("white") for x in range(0, 600, 4) for y in range(0, 600, 4))
print(json.dumps({"valid": layer.isValid(), "drawn": drawn}))
"""


def by_gdal(root, layers, wanted, folder):
    seen = python(OGR, folder, root)
    yield "GDAL: the collections are those of the schema", list(seen) == list(wanted)
    for name, s in seen.items():
        want = layers[name]
        yield f"GDAL: {name}: fields", s["fields"] == {n: OGR_TYPES[t] for n, t in wanted[name].items()}
        yield f"GDAL: {name}: {len(want)} features", s["told"] == len(want) == len(set(s["ids"]))
        yield f"GDAL: {name}: values", s["values"] == [{n: int(v) if isinstance(v, bool) else v for n, v in f["properties"].items()} for f in want]
    copy = folder / "all.gpkg"
    run(["ogr2ogr", "-f", "GPKG", str(copy), f"OAPIF:{root}", "-oo", "PAGE_SIZE=1000"])
    for name in wanted:
        told = run(["ogrinfo", "-so", str(copy), name])
        yield f"ogr2ogr: {name}: copied whole", f"Feature Count: {len(layers[name])}\n" in told
    lot = layers["head"][0]["properties"]["lot"]
    told = run(["ogrinfo", "-so", "-where", f"lot = '{lot}'", f"OAPIF:{root}", "head"])
    yield "GDAL: -where chooses", f"Feature Count: {sum(f['properties']['lot'] == lot for f in layers['head'])}\n" in told


def by_qgis(root, layers, wanted, folder):
    seen = python(QGIS, folder, root, *wanted)
    for name, s in seen.items():
        yield f"QGIS: {name}: {len(layers[name])} features, all valid", s["valid"] and s["count"] == len(layers[name]) and s["invalid"] == 0
        if layers[name]:  # an empty collection has no fields in QGIS 3.22
            got = {n: t.lower() for n, t in s["fields"].items() if n != "id"}
            yield f"QGIS: {name}: fields", list(got) == list(wanted[name]) and all(same(t, wanted[name][n]) for n, t in got.items())


def same(qgis, schema):
    """Whether QGIS, which tells types from values, took one that holds them."""
    return qgis in {"string": ("string",), "integer": ("integer", "integer64", "string"), "number": ("real", "double", "string"), "boolean": ("boolean", "integer", "string")}[schema]


def place(features):
    xs, ys = zip(*[f["geometry"]["coordinates"] for f in features])
    return min(xs), min(ys), max(xs), max(ys)


def by_box(root, layers, folder):
    lot = layers["head"][0]["properties"]["lot"]
    near = place([f for f in layers["head"] if f["properties"]["lot"] == lot])
    want = sum(near[0] <= f["geometry"]["coordinates"][0] <= near[2] and near[1] <= f["geometry"]["coordinates"][1] <= near[3] for f in layers["head"])
    text = ",".join(map(str, near))
    told = run(["ogrinfo", "-so", "-spat", *map(str, near), f"OAPIF:{root}", "head"])
    yield f"GDAL: {want} heads in a box", f"Feature Count: {want}\n" in told
    seen = python(QGIS_BOX, folder, root, text, "head")
    yield f"QGIS: {want} heads in a box", seen["head"]["count"] == want
    drawn = python(QGIS_TILES, folder, root, text)
    yield "QGIS: vector tiles are drawn", drawn["valid"] and drawn["drawn"] > 500


def measured(root, layers, folder):
    everything = place(layers["head"])
    w, h = everything[2] - everything[0], everything[3] - everything[1]
    for part in (0.03, 0.1):
        box = (everything[0] + w / 2, everything[1] + h / 2, everything[0] + w / 2 + w * part, everything[1] + h / 2 + h * part)
        print(f"a box of {part:.0%} by {part:.0%} of the batch:", python(QGIS_BOX, folder, root, ",".join(map(str, box)), "lot", "head", "trench", "pipe", "wetted"))
    began = time.time()
    print("the whole of lot:", python(QGIS_BOX, folder, root, ",".join(map(str, (everything[0] - w, everything[1] - h, everything[2] + w, everything[3] + h))), "lot"))
    began = time.time()
    run(["ogr2ogr", "-f", "GPKG", str(folder / "heads.gpkg"), f"OAPIF:{root}", "head", "-oo", "PAGE_SIZE=1000"])
    print(f"ogr2ogr of all {len(layers['head'])} heads: {time.time() - began:.1f} s")


def main():
    lotwright, given, folder = sys.argv[1], sys.argv[2], Path(sys.argv[3])
    folder.mkdir(parents=True, exist_ok=True)
    lots = features_of(given)
    if len(sys.argv) > 4:
        lots = copies(lots, int(sys.argv[4]))
    faults = checks = 0
    with stored(lotwright, lots, folder) as http:
        root = f"http://{http}/ogc/elm"
        began = time.time()
        get(root + "/collections")
        print(f"first answer after {time.time() - began:.2f} s")
        layers, wanted = exported(http), schemas(root)
        if len(sys.argv) > 4:
            measured(root, layers, folder)
            return 0
        for check in (by_gdal(root, layers, wanted, folder), by_qgis(root, layers, wanted, folder), by_box(root, layers, folder)):
            for what, ok in check:
                checks += 1
                faults += not ok
                if not ok:
                    print("FAULT", what)
    print(f"{checks} checks of {len(wanted)} collections with {sum(map(len, layers.values()))} features, {faults} faults")
    return 1 if faults or checks < 50 else 0


if __name__ == "__main__":
    sys.exit(main())
