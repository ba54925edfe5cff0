// What the map library does beside the page: reads tiles and makes them ready.
import 'maplibre-gl/worker'
