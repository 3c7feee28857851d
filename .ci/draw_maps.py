"""Draw the pictures of the mapping-tool guide in README.md, with QGIS and without
a screen: the invented subdivision as a batch, read over OGC API - Features, in the
styles of the GeoPackage that the same service exports.

    /usr/bin/python3 .ci/draw_maps.py LOTWRIGHT INPUT.geojson FOLDER PICTURES

Seen with QGIS 3.22.16.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from check_maps import features_of, get, python, run, stored  # noqa: E402

DRAW = """
import json, sys
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor
from qgis.core import QgsApplication, QgsCoordinateReferenceSystem, QgsCoordinateTransform, QgsFillSymbol, QgsMapRendererSequentialJob, QgsMapSettings, QgsProject, QgsRectangle, QgsSingleSymbolRenderer, QgsVectorLayer
root, designs, ground, to, boxes = sys.argv[1:6]
app = QgsApplication([], False)
app.initQgis()
layers = []
for name in ("note", "head", "valve", "trench", "dry", "wetted", "lot"):
    layer = QgsVectorLayer(f"url='{root}' typename='{name}' pageSize='1000' restrictToRequestBBOX='1'", name, "OAPIF")
    styled = QgsVectorLayer(f"{designs}|layername={name}", name, "ogr")
    styled.loadDefaultStyle()
    layer.setRenderer(styled.renderer().clone())
    if name == "head":
        layer.setLabeling(styled.labeling().clone())
    layers.append(layer)
for kind, colour in (("building", "#999999"), ("hardscape", "#d9d9d9"), ("parcel", "#ffffff")):
    layer = QgsVectorLayer(ground, kind, "ogr")
    layer.setSubsetString(f"layer = '{kind}'")
    layer.setRenderer(QgsSingleSymbolRenderer(QgsFillSymbol.createSimple({"color": colour, "outline_color": "#777777", "outline_width": "0.2"})))
    layers.append(layer)
grid = QgsCoordinateReferenceSystem("EPSG:32625")
into = QgsCoordinateTransform(QgsCoordinateReferenceSystem("EPSG:4326"), grid, QgsProject.instance())
for k, box in enumerate(json.loads(boxes)):
    layers[1].setLabelsEnabled(k > 0)
    s = QgsMapSettings()
    s.setLayers(layers if k else layers[1:])
    s.setDestinationCrs(grid)
    s.setBackgroundColor(QColor("white"))
    s.setOutputSize(QSize(880, 550))
    s.setOutputDpi(96 if k else 60)
    s.setExtent(into.transformBoundingBox(QgsRectangle(*box)))
    job = QgsMapRendererSequentialJob(s)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(f"{to}/qgis_{('subdivision', 'lots')[k]}.png")
print("{}")
"""


def main():
    lotwright, given, folder, pictures = sys.argv[1], sys.argv[2], Path(sys.argv[3]), sys.argv[4]
    folder.mkdir(parents=True, exist_ok=True)
    with stored(lotwright, features_of(given), folder, {"supply": {"head_pressure_kpa": 380}}) as http:
        root = f"http://{http}/ogc/elm"
        designs = folder / "designs.gpkg"
        run(["curl", "-sS", "--fail-with-body", "-H", "Accept: application/geopackage+sqlite3", "-o", str(designs), f"http://{http}/v1/batches/elm:export"])
        west, south, east, north = next(c["extent"]["spatial"]["bbox"][0] for c in get(root + "/collections")["collections"] if c["id"] == "lot")
        lot = get(root + "/collections/head/items?lot=LK-05")["features"]
        xs, ys = zip(*[f["geometry"]["coordinates"] for f in lot])
        near = [min(xs) - 3e-4, min(ys) - 1e-4, max(xs) + 3e-4, max(ys) + 1e-4]
        python(DRAW, folder, root, designs, Path(given).resolve(), Path(pictures).resolve(), [[west, south, east, north], near])
    return 0


if __name__ == "__main__":
    sys.exit(main())
