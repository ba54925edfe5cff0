package api

import (
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

func text() object { return object{{"type", "string"}} }

func words[T ~string](list ...T) object { return object{{"type", "string"}, {"enum", list}} }

func wholeFrom(least, most int) object {
	return object{{"type", "integer"}, {"minimum", least}, {"maximum", most}}
}

func listOf(items object) object { return object{{"type", "array"}, {"items", items}} }

func uri() object { return object{{"type", "string"}, {"format", "uri"}} }

// sharedParameters mean the same wherever they stand.
var sharedParameters = []parameter{
	{name: "limit", note: "How many features or rows at most. More than the maximum is the maximum. There may be fewer; a link next then leads on.",
		schema: object{{"type", "integer"}, {"minimum", 1}, {"maximum", maxLimit}, {"default", defaultLimit}}},
	{name: "bbox", note: "Only features that meet this box: west, south, east, north, or the same with the lower and the upper height after each corner. Degrees of longitude and latitude, or in the order of bbox-crs. West of more than east crosses the antimeridian.",
		schema: object{{"type", "array"}, {"minItems", 4}, {"maxItems", 6}, {"items", object{{"type", "number"}}}}},
	{name: "datetime", note: "Only features whose time meets this instant or interval, such as 2024-05-01, 2024-05-01T12:00:00Z, 2020-01-01/2020-12-31, 2020-01-01/.. or ../2020-12-31; features without a time are among them.",
		schema: text()},
	{name: "crs", note: "The reference system of the geometries answered; one of the collection's list.", schema: uri()},
	{name: "bbox-crs", note: "The reference system of bbox; one of the collection's list.", schema: uri()},
	{name: "filter", note: "Only features for which this expression of CQL2 holds; what it may speak of is under queryables.", schema: text()},
	{name: "filter-lang", note: "The encoding of filter.", schema: words("cql2-text", "cql2-json").with(member{"default", "cql2-text"})},
	{name: "filter-crs", note: "The reference system of the geometries in filter; longitude and latitude on WGS 84 without it.", schema: uri()},
	{name: "sortby", note: "What to sort by, the most important first: names from sortables, with - before the name for descending.",
		schema: object{{"type", "array"}, {"minItems", 1}, {"items", object{{"type", "string"}, {"pattern", "[+|-]?[A-Za-z_].*"}}}}},
	{name: "properties", note: "Only these properties are answered with their values; without it all are.", schema: listOf(text()).with(member{"minItems", 1})},
	{name: "cursor", note: "Where the page begins, as a link next gives it.", schema: text()},
	{name: "as_of", note: "The inventory as it stood at this instant or at the end of this day.", schema: text()},
	{name: "site", note: "The name of a site; where there is only one it can be left out.", schema: text()},
	{name: "tag", note: "The tag or the source id of a tree.", required: true, schema: text()},
}

func (s *Server) parameters() object {
	out := object{}
	for i := range sharedParameters {
		p := &sharedParameters[i]
		out = out.with(member{p.name, p.object()})
	}
	return out
}

// shared names shared parameters.
func shared(names ...string) []parameter {
	out := make([]parameter, len(names))
	for i, name := range names {
		out[i] = parameter{name: name, shared: true}
	}
	return out
}

// formParameter is the parameter that chooses among the forms of an answer.
func formParameter(answers []answering) parameter {
	var names []string
	for _, a := range answers {
		for _, name := range formNames {
			if slices.Contains(formTypes[name], a.form) && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return parameter{name: "f", note: "The form of the answer; without it the Accept header chooses.", schema: words(names...)}
}

// resultType is spelled out in each place: clients look for it there.
var resultType = parameter{name: "resultType", note: "hits answers with the number of features alone.", schema: words("results", "hits").with(member{"default", "results"})}

// itemsParameters are those of a collection's features.
func (s *Server) itemsParameters(c *inventory.Collection) []parameter {
	out := shared("limit", "bbox", "datetime", "crs", "bbox-crs", "filter", "filter-lang", "filter-crs", "sortby", "properties", "cursor", "as_of")
	out = append(out, resultType)
	return append(out, propertyParameters(c)...)
}

// exportParameters are those of all features at once.
func (s *Server) exportParameters(c *inventory.Collection) []parameter {
	out := shared("bbox", "datetime", "crs", "bbox-crs", "filter", "filter-lang", "filter-crs", "sortby", "properties", "as_of")
	return append(out, propertyParameters(c)...)
}

// propertyParameters are a collection's properties as conditions.
func propertyParameters(c *inventory.Collection) []parameter {
	var out []parameter
	for _, name := range filterable(c) {
		p, _ := c.Property(name)
		note := titleOf(p) + ". Only features with this value; with commas between, any of several."
		if more := noteOf(p); more != "" {
			note = titleOf(p) + ": " + more + ". Only features with this value; with commas between, any of several."
		}
		out = append(out, parameter{name: name, note: note, schema: typeOf(p)})
	}
	return out
}

// pathParameter stands in a path.
func pathParameter(name, note string, schema object) parameter {
	return parameter{name: name, in: "path", note: note, required: true, schema: schema}
}

var rankingParameter = pathParameter("ranking", "The number of a kept ranking.", wholeFrom(1, 1<<53-1))

var byParameter = parameter{name: "by", note: "What orders the trees.", schema: words(ranking.Orders...).with(member{"default", ranking.ByHarm})}

// rankingParameters are those of the ranking.
func rankingParameters() []parameter {
	return slices.Concat(shared("site", "as_of"), []parameter{
		{name: "over", note: "Only trees over any of these kinds of place.", schema: listOf(words(inventory.TargetKinds...))},
		{name: "cut", note: "Only trees that carry any of these kinds of cut.", schema: listOf(words(inventory.CutKinds...))},
		{name: "since", note: "Only cuts made in this year or later.", schema: wholeFrom(1, 9999)},
		byParameter,
	}, shared("limit"), []parameter{
		{name: "season", note: "The season of the profile that exposures are of.", schema: words(profile.Seasons...)},
		{name: "draws", note: "How often the uncertain inputs are drawn anew to tell how sure each place is.", schema: wholeFrom(1, maxDraws)},
		{name: "seed", note: "What the draws begin with: the same draws for the same number. Needs draws.", schema: object{{"type", "integer"}, {"minimum", 0}}},
		{name: "top", note: "How many first places top_share is about. Needs draws.", schema: wholeFrom(1, maxDrawnTrees)},
	})
}

// hoursParameters are those of the week under a tree.
func hoursParameters() []parameter {
	return slices.Concat(shared("site", "tag", "as_of"), []parameter{
		{name: "part", note: "The part of the tree that is looked under; without it the one that weighs most.", schema: words("whole tree", "crown", "limb")},
		{name: "window", note: "Find the quietest so many hours in a row.", schema: wholeFrom(1, inventory.HoursInWeek)},
		{name: "from", note: "The hour of the day from which the window may lie. Needs window.", schema: wholeFrom(0, 23)},
		{name: "to", note: "The hour of the day by which the window must end. Needs window.", schema: wholeFrom(1, 24)},
		{name: "days", note: "The days of the week on which the window may lie. Needs window.", schema: listOf(words(weekdays...))},
	})
}

func placesParameters() []parameter {
	return slices.Concat(shared("site", "as_of"), []parameter{
		{name: "kind", note: "Only these kinds of place.", schema: listOf(words(inventory.TargetKinds...))},
		{name: "uncovered", note: "true for places that no recorded tree reaches, false for the others.", schema: object{{"type", "boolean"}}},
	}, shared("limit"))
}

func gridParameters() []parameter {
	return slices.Concat(shared("site", "as_of"), []parameter{
		{name: "cells", note: "The shape of the cells.", schema: words("hexagon", "square").with(member{"default", "hexagon"})},
		{name: "size", note: "The size of a cell, metres.", schema: object{{"type", "number"}, {"minimum", ranking.MinCell}, {"maximum", ranking.MaxCell}, {"default", 100}}},
		{name: "limit", note: "How many cells at most; all without it.", schema: wholeFrom(1, maxLimit)},
	})
}
