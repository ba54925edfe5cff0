"""Reads the service as QGIS does, and writes what QGIS has as JSON.

Usage: qgis_read.py SERVICE OUTPUT PICTURE
"""
import json
import os
import sys

from qgis.core import (
    QgsApplication, QgsCoordinateReferenceSystem, QgsDataSourceUri, QgsFeatureRequest, QgsMapRendererSequentialJob, QgsMapSettings,
    QgsMarkerSymbol, QgsRectangle, QgsVectorLayer, QgsVectorTileBasicRenderer, QgsVectorTileBasicRendererStyle, QgsVectorTileLayer,
    QgsWkbTypes)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

service, output, picture = sys.argv[1:]
QgsApplication.setPrefixPath("/usr", True)
app = QgsApplication([], False)
app.initQgis()
found = {}


def features(collection):
    # The source as QGIS writes it when a layer is added from a connection.
    source = "restrictToRequestBBOX='1' srsname='EPSG:4326' typename='%s' url='%s' version='auto'" % (collection, service)
    return QgsVectorLayer(source, collection, "OAPIF")


def cell(value):
    return value if isinstance(value, (str, int, float)) else None


def rows(layer, request=None):
    """The id, the tag, the species and the place of features."""
    names = layer.fields().names()
    out = []
    for f in layer.getFeatures(request) if request else layer.getFeatures():
        p = f.geometry().asPoint()
        out.append(["%.7f" % p.x(), "%.7f" % p.y()] + [cell(f[n]) for n in ("id", "tag", "species", "planted_year") if n in names])
    return out


trees = features("trees")
found["valid"] = trees.isValid()
if not trees.isValid():  # asking for no error at all ends 3.22
    found["error"] = trees.error().summary()
found["crs"] = trees.crs().authid()
found["type"] = QgsWkbTypes.displayString(trees.wkbType())
found["fields"] = {f.name(): f.typeName() for f in trees.fields()}
e = trees.extent()
found["extent"] = [e.xMinimum(), e.yMinimum(), e.xMaximum(), e.yMaximum()]
found["trees"] = rows(trees)
found["count"] = trees.featureCount()  # known for certain once all are read
box = QgsRectangle(25.2850, 54.6820, 25.2901, 54.6851)
found["box"] = rows(features("trees"), QgsFeatureRequest().setFilterRect(box))
found["expression"] = rows(trees, QgsFeatureRequest().setFilterExpression("\"species\" = 'Acer platanoides' AND \"planted_year\" < 1980"))
found["people"] = {f["tag"]: f["people"] for f in trees.getFeatures(box.buffered(-0.001)) if f["people"] > 0}
visits = features("visits")
found["date"] = sum(1 for _ in visits.getFeatures(QgsFeatureRequest().setFilterExpression("\"visited_on\" >= '2024-06-01'")))
found["subset accepted"] = visits.setSubsetString("\"visited_on\" >= '2024-06-01' AND \"tree_id\" < 30000")
found["subset"] = rows(visits)
targets = features("targets")
found["targets"] = [[f["name"], QgsWkbTypes.displayString(f.geometry().wkbType()), f.geometry().constGet().partCount()] for f in targets.getFeatures()]

# A vector tile layer, with the trees in one colour that nothing else has.
uri = QgsDataSourceUri()
uri.setParam("type", "xyz")
uri.setParam("url", service + "/tiles/WebMercatorQuad/{z}/{y}/{x}")
uri.setParam("zmin", "0")
uri.setParam("zmax", "18")
tiles = QgsVectorTileLayer(bytes(uri.encodedUri()).decode(), "tiles")
found["tiles valid"] = tiles.isValid()
symbol = QgsMarkerSymbol.createSimple({"name": "circle", "size": "1.2", "color": "#ff00ff", "outline_style": "no"})
style = QgsVectorTileBasicRendererStyle("trees", "trees", QgsWkbTypes.PointGeometry)
style.setSymbol(symbol)
renderer = QgsVectorTileBasicRenderer()
renderer.setStyles([style])
tiles.setRenderer(renderer)
settings = QgsMapSettings()
settings.setLayers([tiles])
settings.setDestinationCrs(QgsCoordinateReferenceSystem("EPSG:3857"))
settings.setBackgroundColor(QColor("white"))
settings.setOutputSize(QSize(1200, 1000))
settings.setExtent(QgsRectangle(2814000, 7299900, 2817000, 7302400))
job = QgsMapRendererSequentialJob(settings)
job.start()
job.waitForFinished()
found["errors"] = [str(e.message) for e in job.errors()]
found["picture"] = job.renderedImage().save(picture)
v = job.mapSettings().visibleExtent()
found["visible"] = [v.xMinimum(), v.yMinimum(), v.xMaximum(), v.yMaximum()]

with open(output, "w", encoding="utf-8") as f:
    json.dump(found, f)
# Layers that Python takes down after QGIS would end it by a fault.
os._exit(0)
