# Open every layer of a GeoPackage as a mapping tool does, with the style that
# the file holds for it, and say what came of it, a line a layer.
#
#   python3 draw.py FILE.gpkg LAYER...
import sys

from qgis.core import QgsApplication, QgsRenderContext, QgsVectorLayer

app = QgsApplication([], False)
app.initQgis()
for name in sys.argv[2:]:
    layer = QgsVectorLayer(f"{sys.argv[1]}|layername={name}", name, "ogr")
    _, styled = layer.loadDefaultStyle()
    renderer = layer.renderer()
    context = QgsRenderContext()
    renderer.startRender(context, layer.fields())
    features = list(layer.getFeatures())
    without = sum(renderer.symbolForFeature(f, context) is None for f in features)
    invalid = sum(not f.geometry().isGeosValid() for f in features)
    renderer.stopRender(context)
    print(name, layer.isValid(), styled, renderer.type(), len(renderer.symbols(context)), layer.labelsEnabled(),
          len(features), without, invalid)
