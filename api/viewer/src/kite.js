// A mark of our own: a kite that stands with its tip on the tree's point, so
// that marks of different sizes still show where each tree is.
import L from 'leaflet'

export const Kite = L.CircleMarker.extend({
  _updatePath() {
    const renderer = this._renderer
    if (!renderer._drawing || this._empty()) return
    const { x, y } = this._point
    const r = this._radius
    const c = renderer._ctx
    c.beginPath()
    c.moveTo(x, y)
    c.lineTo(x - r * 0.8, y - r * 1.5)
    c.lineTo(x, y - r * 2.3)
    c.lineTo(x + r * 0.8, y - r * 1.5)
    c.closePath()
    renderer._fillStroke(c, this)
  },
  // What the pointer and the redrawing have to reckon with.
  _updateBounds() {
    const r = this._radius
    const w = this._clickTolerance() + 2
    this._pxBounds = new L.Bounds(this._point.subtract([r + w, 2.3 * r + w]), this._point.add([r + w, w]))
  },
  _containsPoint(p) {
    const r = this._radius
    const at = this._point.subtract([0, 1.4 * r])
    return Math.abs(p.x - at.x) <= 0.8 * r + 2 && Math.abs(p.y - at.y) <= r + 3
  },
})
