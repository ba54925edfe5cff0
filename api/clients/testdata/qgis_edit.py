"""Edits gis.trees as QGIS does, and writes what QGIS has as JSON.

Usage: qgis_edit.py HOST PORT DATABASE ROLE CHANGED MOVED DELETED OUTPUT, the three being ids of trees
"""
import json
import os
import sys

from qgis.core import QgsApplication, QgsDataSourceUri, QgsFeature, QgsFeatureRequest, QgsGeometry, QgsPointXY, QgsVectorLayer, QgsWkbTypes

host, port, database, role = sys.argv[1:5]
changed, moved, deleted = (int(a) for a in sys.argv[5:8])
output = sys.argv[8]
QgsApplication.setPrefixPath("/usr", True)
app = QgsApplication([], False)
app.initQgis()
found = {}


def open_trees():
    uri = QgsDataSourceUri()
    uri.setConnection(host, port, database, role, "")
    uri.setDataSource("gis", "trees", "geometry", "", "tree_id")
    uri.setSrid("4326")
    uri.setWkbType(QgsWkbTypes.Point)
    return QgsVectorLayer(uri.uri(False), "trees", "postgres")


layer = open_trees()
found["uri"] = layer.source()
found["valid"] = layer.isValid()
if not layer.isValid():  # asking for no error at all ends 3.22
    found["error"] = layer.error().summary()
found["crs"] = layer.crs().authid()
found["count"] = layer.featureCount()
found["read"] = sum(1 for f in layer.getFeatures() if f.hasGeometry())
found["dead"] = sorted(f["tree_id"] for f in layer.getFeatures(QgsFeatureRequest().setFilterExpression("\"status\" = 'dead' AND \"planted_year\" < 1990")))


def by_id(layer, tree):
    return next(layer.getFeatures(QgsFeatureRequest().setFilterExpression('"tree_id" = %d' % tree)))


assert layer.startEditing()
fields = layer.fields()
layer.changeAttributeValue(by_id(layer, changed).id(), fields.indexOf("height_m"), 21.5)
layer.changeAttributeValue(by_id(layer, changed).id(), fields.indexOf("common_name"), "maple, Norway – ž")
layer.changeGeometry(by_id(layer, moved).id(), QgsGeometry.fromPointXY(QgsPointXY(25.2809, 54.6805)))
new = QgsFeature(fields)
new.setAttribute("tag", "NEW1")
new.setAttribute("species", "Tilia cordata")
new.setAttribute("dbh_cm", 33.5)
new.setAttribute("height_m", 14)
new.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(25.2803, 54.6805)))
found["added"] = layer.addFeature(new)
found["deleted"] = layer.deleteFeature(by_id(layer, deleted).id())
found["committed"] = layer.commitChanges()
found["says"] = layer.commitErrors()

# What is refused comes back as the service's words, and leaves nothing.
assert layer.startEditing()
layer.changeAttributeValue(by_id(layer, changed).id(), fields.indexOf("height_m"), 2150)
found["refused"] = not layer.commitChanges()
found["refusal"] = " ".join(layer.commitErrors())
layer.rollBack()

again = open_trees()
found["after"] = {f["tag"]: [f["tree_id"], f["height_m"], f["dbh_cm"]] for f in again.getFeatures(QgsFeatureRequest().setFilterExpression("\"tag\" = 'NEW1' OR \"tree_id\" = %d" % changed))}
found["count after"] = again.featureCount()
with open(output, "w", encoding="utf-8") as f:
    json.dump(found, f)
# Layers that Python takes down after QGIS would end it by a fault.
os._exit(0)
