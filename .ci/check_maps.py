"""Read a stored batch over OGC API - Features and as vector tiles, as mapping tools
do, and compare what they see with the schema and with the batch's export.

    /usr/bin/python3 .ci/check_maps.py LOTWRIGHT INPUT.geojson FOLDER [LOTS]

The lots of the input are designed as a batch, for a coverage that is quickly had.
With LOTS, the batch is so many copies of their designs, side by side, and the times
that QGIS and GDAL take are printed.

Seen with GDAL 3.6.2 and QGIS 3.22.16.
"""

import collections
import contextlib
import json
import os
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


@contextlib.contextmanager
def stored(lotwright, lots, folder, settings=SETTINGS):
    """A service with a designed batch called elm; gives its HTTP address."""
    server, grpc, http = start(lotwright, folder, "--data", str(folder / "data"))
    post = lambda path, value: run(["curl", "-sS", "--fail-with-body", "-H", "Content-Type: application/json", "-d", json.dumps(value), f"http://{http}{path}"])
    try:
        post("/v1/batches", {"batch_id": "elm", "batch": {"title": "Elm Street"}})
        lines = [json.dumps({"target": {"parent": "batches/elm", "import_id": "one"}})] + [json.dumps({"lot": message(l, fs)}) for l, fs in lots.items()]
        imported = json.loads(run(GRPCURL + ["-plaintext", "-d", "@", grpc, "lotwright.v1.BatchService/ImportLots"], "\n".join(lines)))
        assert imported["added"] == len(lots), imported
        post("/v1/batches/elm:design", {"settings": settings})
        run(["curl", "-sSN", "--fail-with-body", "-o", str(folder / "watched"), f"http://{http}/v1/batches/elm:watch"])
        yield http
    finally:
        server.terminate()
        assert server.wait(timeout=30) == 0, "the service does not end in order"


@contextlib.contextmanager
def filled(lotwright, given, copies, folder):
    """A service with a batch called elm of copies of designs."""
    designs, data = folder / "designs.geojson", folder / "data"
    run([lotwright, "design", given, "--quiet", "-o", str(designs)])
    run(["go", "test", "-count=1", "-timeout=1h", "-tags", "measure", "-run", "^TestFill$", "./server/ogc", "-args",
         "-fill-folder", str(data.resolve()), "-fill-map", str(designs.resolve()), "-fill-lots", copies])
    server, _, http = start(lotwright, folder, "--data", str(data))
    try:
        yield http
    finally:
        server.terminate()
        server.wait(timeout=30)


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
import json, sys, time
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
began = time.time()
job = QgsMapRendererSequentialJob(s)
job.start()
job.waitForFinished()
took = round(time.time() - began, 2)
image = job.renderedImage()
drawn = sum(image.pixelColor(x, y) != QColor("white") for x in range(0, 600, 4) for y in range(0, 600, 4)) / 150**2
print(json.dumps({"valid": layer.isValid(), "drawn": round(drawn, 3), "draw_s": took}))
"""


def by_gdal(root, layers, wanted, folder):
    seen = python(OGR, folder, root)
    yield "GDAL: the collections are those of the schema", list(seen) == list(wanted)
    for name, s in seen.items():
        want = layers[name]
        yield f"GDAL: {name}: fields", s["fields"] == {n: OGR_TYPES[t] for n, t in wanted[name].items()}
        yield f"GDAL: {name}: {len(want)} features", s["told"] == len(want) == len(set(s["ids"]))
        yield f"GDAL: {name}: values", s["values"] == [{n: int(v) if isinstance(v, bool) else v for n, v in f["properties"].items()} for f in want]
    whole = next(l for l in get(root + "/")["links"] if l["rel"] == "enclosure")
    run(["curl", "-sSf", "-o", str(folder / "enclosure.gpkg"), whole["href"]])
    told = run(["ogrinfo", "-so", str(folder / "enclosure.gpkg"), "head"])
    yield "GDAL: the landing page leads to the GeoPackage", f"Feature Count: {len(layers['head'])}\n" in told
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
    yield f"QGIS: vector tiles are drawn: {drawn}", drawn["valid"] and drawn["drawn"] > 0.25


# Heads in the projected system of the batch, against PROJ; and a tile, which GDAL
# reads by itself, in the same places.
GRID = """
import json, math, sys, urllib.parse, urllib.request
from osgeo import gdal, osr
gdal.UseExceptions()
root = sys.argv[1]
get = lambda path: json.loads(urllib.request.urlopen(root + path).read())
uri = get("/collections/head")["crs"][1]
degrees, metres = osr.SpatialReference(), osr.SpatialReference()
degrees.ImportFromEPSG(4326)
metres.ImportFromEPSG(int(uri.rsplit("/", 1)[1]))
for s in (degrees, metres):
    s.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
to = osr.CoordinateTransformation(degrees, metres)
lonlat = {f["id"]: f["geometry"]["coordinates"] for f in get("/collections/head/items?limit=10000")["features"]}
worst = 0
for f in get("/collections/head/items?limit=10000&crs=" + urllib.parse.quote(uri, ""))["features"]:
    x, y, _ = to.TransformPoint(*lonlat[f["id"]])
    worst = max(worst, math.dist((x, y), f["geometry"]["coordinates"]))
z, missing = 19, 0
mercator = osr.SpatialReference()
mercator.ImportFromEPSG(3857)
to = osr.CoordinateTransformation(degrees, mercator)
size = 2 * math.pi * 6378137 / 2**z
tiles = {}
for id, at in lonlat.items():
    x, y, _ = to.TransformPoint(*at)
    tiles.setdefault((int((x + math.pi * 6378137) / size), int((math.pi * 6378137 - y) / size)), {})[id] = (x, y)
for (col, row), heads in tiles.items():
    with open(sys.argv[2], "wb") as f:
        f.write(urllib.request.urlopen(f"{root}/tiles/WebMercatorQuad/{z}/{row}/{col}").read())
    source = gdal.OpenEx(sys.argv[2], gdal.OF_VECTOR, allowed_drivers=["MVT"], open_options=[f"X={col}", f"Y={row}", f"Z={z}"])
    seen = {f.GetField("mvt_id"): f.GetGeometryRef().Clone() for f in source.GetLayer("head")}
    for id, (x, y) in heads.items():
        g = seen.get(id)
        missing += g is None or math.dist((x, y), (g.GetGeometryRef(0) if g.GetGeometryCount() else g).GetPoint_2D()) > 1.5 * size / 4096
print(json.dumps({"heads": len(lonlat), "worst": worst, "missing": missing, "tiles": len(tiles)}))
"""


def in_grid(root, layers, folder):
    seen = python(GRID, folder, root, folder / "tile.pbf")
    yield f"PROJ: {seen['heads']} heads in metres, to a tenth of a millimetre: {seen['worst']}", seen["heads"] == len(layers["head"]) and seen["worst"] < 2e-4
    yield f"GDAL: every head is in its vector tile: {seen}", seen["missing"] == 0 and seen["tiles"] > 3


# README.md's Python, word for word, with QGIS around it.
CONSOLE = """
import json, sys
from qgis.core import QgsApplication
app = QgsApplication([], False)
app.initQgis()
exec(sys.argv[1])
print(json.dumps({l.name(): [l.isValid(), l.renderer().type(), sum(1 for _ in l.getFeatures())] for l in QgsProject.instance().mapLayers().values()}))
"""


def as_documented(http, layers, folder):
    """The commands of the mapping-tool guide, as they stand there but for the address."""
    text = Path("README.md").read_text().split("**From the service.** `serve --data`")[1].split("## Exit codes")[0]
    block = lambda kind: text.split(f"```{kind}\n")[1].split("```")[0].replace("127.0.0.1:7080", http)
    said = {}
    for line in block("sh").splitlines():
        done = subprocess.run(["bash", "-c", line], cwd=folder, capture_output=True, text=True)
        said[line.replace(http, "")] = done.stdout
        yield f"README: {line}", done.returncode == 0 and "ERROR" not in done.stderr + done.stdout
    yield "README: seven commands say something", len(said) == 7
    heads = [f for f in layers["head"] if f["properties"]["lot"] == "LK-05"]
    answers = [json.loads(o) for o in said.values() if o.startswith('{"type":"FeatureCollection"')]
    yield "README: the heads of a lot, and those in a box", len(answers) == 2 and len(answers[0]["features"]) == len(heads) > 0 and len(answers[1]["features"]) > 0
    yield "README: a table of lots", len((folder / "lots.csv").read_text().splitlines()) > 20
    os.environ["LOTWRIGHT_GUIDE"] = str(folder)
    seen = python("import os; os.chdir(os.environ['LOTWRIGHT_GUIDE'])" + CONSOLE, folder, block("python"))
    yield f"README: QGIS draws the layers: {seen}", len(seen) == 5 and all(valid and kind and count == len(layers[name]) for name, (valid, kind, count) in seen.items())


def measured(root, folder):
    began = time.time()
    everything = next(c["extent"]["spatial"]["bbox"][0] for c in get(root + "/collections")["collections"] if c["id"] == "head")
    print(f"first answer after the start of the service: {time.time() - began:.2f} s")
    for name in ("lot", "head"):
        print(f"{name}:", get(f"{root}/collections/{name}/items?limit=1")["numberMatched"], "features")
    w, h = everything[2] - everything[0], everything[3] - everything[1]
    for part in (0.03, 0.1):
        box = (everything[0] + w / 2, everything[1] + h / 2, everything[0] + w / 2 + w * part, everything[1] + h / 2 + h * part)
        text = ",".join(map(str, box))
        print(f"a box of {part:.0%} by {part:.0%} of the batch, in QGIS:", python(QGIS_BOX, folder, root, text, "lot", "head", "trench", "pipe", "wetted"))
        print("  as vector tiles:", python(QGIS_TILES, folder, root, text))
    whole = ",".join(map(str, (everything[0] - w, everything[1] - h, everything[2] + w, everything[3] + h)))
    print("all lots, in QGIS:", python(QGIS_BOX, folder, root, whole, "lot"))
    print("  as vector tiles:", python(QGIS_TILES, folder, root, whole))
    began = time.time()
    run(["ogr2ogr", "-f", "GPKG", str(folder / "heads.gpkg"), f"OAPIF:{root}", "head", "-oo", "PAGE_SIZE=1000"])
    print(f"ogr2ogr of all heads: {time.time() - began:.1f} s")


def main():
    lotwright, given, folder = sys.argv[1], sys.argv[2], Path(sys.argv[3])
    folder.mkdir(parents=True, exist_ok=True)
    if len(sys.argv) > 4:
        with filled(lotwright, given, sys.argv[4], folder) as http:
            measured(f"http://{http}/ogc/elm", folder)
        return 0
    faults = checks = 0
    with stored(lotwright, features_of(given), folder) as http:
        root = f"http://{http}/ogc/elm"
        layers, wanted = exported(http), schemas(root)
        for check in (by_gdal(root, layers, wanted, folder), by_qgis(root, layers, wanted, folder), by_box(root, layers, folder), in_grid(root, layers, folder), as_documented(http, layers, folder)):
            for what, ok in check:
                checks += 1
                faults += not ok
                if not ok:
                    print("FAULT", what)
    print(f"{checks} checks of {len(wanted)} collections with {sum(map(len, layers.values()))} features, {faults} faults")
    return 1 if faults or checks < 50 else 0


if __name__ == "__main__":
    sys.exit(main())
