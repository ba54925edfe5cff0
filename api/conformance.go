package api

import (
	"net/http"
	"slices"
)

// The classes of the standards that are kept whole, each with the tests that
// check it: TestConformanceDeclared holds the two lists together. The numbers of
// the documents: Features 17-069r4, 18-058r1, 19-079r2, 20-002, CQL2 21-065r2,
// schemas 23-058r2, Common 19-072 and 20-024; sorting is a draft.
const (
	specs      = "http://www.opengis.net/spec/"
	featureOne = specs + "ogcapi-features-1/1.0/conf/"
	featureTwo = specs + "ogcapi-features-2/1.0/conf/"
	featureThr = specs + "ogcapi-features-3/1.0/conf/"
	featureFiv = specs + "ogcapi-features-5/1.0/conf/"
	featureEig = specs + "ogcapi-features-8/1.0/conf/"
	commonOne  = specs + "ogcapi-common-1/1.0/conf/"
	commonTwo  = specs + "ogcapi-common-2/1.0/conf/"
	commonThr  = specs + "ogcapi-common-3/1.0/conf/"
	tilesOne   = specs + "ogcapi-tiles-1/1.0/conf/"
	cql2       = specs + "cql2/1.0/conf/"
)

var conformanceClasses = []string{
	commonOne + "core", commonOne + "json", commonOne + "html", commonOne + "oas30",
	commonTwo + "collections",
	featureOne + "core", featureOne + "oas30", featureOne + "geojson", featureOne + "html",
	featureTwo + "crs",
	featureThr + "queryables", featureThr + "queryables-query-parameters", featureThr + "filter", featureThr + "features-filter",
	cql2 + "cql2-text", cql2 + "cql2-json", cql2 + "basic-cql2", cql2 + "advanced-comparison-operators",
	cql2 + "case-insensitive-comparison", cql2 + "accent-insensitive-comparison",
	cql2 + "basic-spatial-functions", cql2 + "basic-spatial-functions-plus", cql2 + "spatial-functions",
	cql2 + "temporal-functions", cql2 + "array-functions", cql2 + "property-property", cql2 + "arithmetic", cql2 + "functions",
	// The name that the class of spatial functions had before the standard was
	// finished: a desktop client looks for it and sends no spatial filter else.
	cql2 + "basic-spatial-operators",
	commonThr + "schemas", commonThr + "advanced-property-roles", commonThr + "returnables-and-receivables", commonThr + "queryables", commonThr + "sortables",
	// The older name of schemas, which clients look for.
	featureFiv + "schemas",
	featureEig + "sortables", featureEig + "sorting", featureEig + "features-sorting",
	tilesOne + "core", tilesOne + "tileset", tilesOne + "tilesets-list", tilesOne + "dataset-tilesets", tilesOne + "geodata-tilesets", tilesOne + "mvt", tilesOne + "oas30",
}

// classes lists the classes that this server conforms to.
func (s *Server) classes() []string {
	return slices.Concat(conformanceClasses, s.editClasses())
}

// conformance is the declaration.
type conformance struct {
	ConformsTo []string `json:"conformsTo"`
	Links      []link   `json:"links"`
}

var describingForms = []string{typeJSON, typeHTML}

// handleConformance declares what is conformed to.
func (s *Server) handleConformance(w http.ResponseWriter, r *http.Request) error {
	d, err := s.document(w, r, describingForms)
	if err != nil {
		return err
	}
	if d.form == typeHTML {
		return d.page("conformance", htmlPage{Title: "Standards kept", Data: s.classes()})
	}
	return d.write(conformance{ConformsTo: s.classes(), Links: d.links()})
}
