package api

import (
	"fmt"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// The schemas of what is answered. Lists of named values take their names and
// types from the very functions that answer them.

// structure is a schema of an object all of whose members are always there.
func structure(members ...member) object {
	names := make([]string, len(members))
	for i, m := range members {
		names[i] = m.name
	}
	return loose(names, members...)
}

// loose is a schema of an object, of whose members only some must be there.
func loose(required []string, members ...member) object {
	out := object{{"type", "object"}}
	if len(required) > 0 {
		out = out.with(member{"required", required})
	}
	return out.with(member{"properties", object(members)})
}

func nullable(o object) object {
	if list, ok := o.get("enum").([]string); ok {
		o = slices.Clone(o)
		for i := range o {
			if o[i].name == "enum" {
				all := make([]any, 0, len(list)+1)
				for _, word := range list {
					all = append(all, word)
				}
				o[i].value = append(all, nil)
			}
		}
	}
	return o.with(member{"nullable", true})
}

func number() object  { return object{{"type", "number"}} }
func whole() object   { return object{{"type", "integer"}, {"format", "int64"}} }
func seed() object    { return object{{"type", "integer"}, {"minimum", 0}} } // to 2^64 - 1
func boolean() object { return object{{"type", "boolean"}} }
func moment0() object { return object{{"type", "string"}, {"format", "date-time"}} }

// unset are the types of values that an empty answer does not show, by name.
var unset = map[string]func() object{
	"tag": text, "source_id": text, "species": text, "common_name": text, "cuts": text, "name": text, "layer": text, "season": text,
	"dbh_cm": number, "top_share": number, "people_after": number, "vehicles_after": number, "harm_index_before": number, "harm_index_after": number,
	"last_topped": whole, "rank_low": whole, "rank_high": whole, "rank_before": whole, "rank_after": whole, "places_up": whole,
	"since": whole, "limit": whole, "draws": whole, "seed": seed, "top": whole,
	"rating_after": text,
}

// valuesSchema describes an object of named values.
func valuesSchema(list []ranking.Property, more ...member) object {
	members := make([]member, 0, len(list)+len(more))
	for _, p := range list {
		members = append(members, member{p.Name, valueSchema(p)})
	}
	return structure(append(members, more...)...)
}

// valueSchema describes a value by one that stands for all.
func valueSchema(p ranking.Property) object {
	if make, ok := unset[p.Name]; ok {
		return nullable(make())
	}
	switch v := p.Value.(type) {
	case string:
		return text()
	case bool:
		return boolean()
	case int, int64, uint64:
		return whole()
	case float64:
		return number()
	case []string:
		return listOf(text())
	case []int:
		return listOf(whole())
	case []float64:
		return listOf(number())
	case []ranking.Property:
		return valuesSchema(v)
	}
	panic(fmt.Sprintf("nothing says what type %s has", p.Name))
}

// rowsSchema describes a listing in JSON, whose head has some more members.
func rowsSchema(row object, head ...member) object {
	members := append(head, member{"cautions", text()}, member{"rows", listOf(row)}, member{"links", listOf(ref("schemas", "link"))},
		member{"numberReturned", whole()}, member{"timeStamp", moment0()})
	out := structure(members...)
	return withMember(out, member{"numberMatched", whole()})
}

// withMember adds a member that need not be there to an object's schema.
func withMember(o object, more ...member) object {
	o = slices.Clone(o)
	for i := range o {
		if o[i].name == "properties" {
			o[i].value = o[i].value.(object).with(more...)
		}
	}
	return o
}

// listSchema describes a listing as GeoJSON.
func listSchema(properties, geometry object, id bool, head ...member) object {
	feature := []member{{"type", words("Feature")}, {"geometry", geometry}, {"properties", properties}}
	if id {
		feature = append(feature, member{"id", whole()})
	}
	members := append([]member{{"type", words("FeatureCollection")}}, head...)
	members = append(members, member{"cautions", text()}, member{"features", listOf(structure(feature...))}, member{"links", listOf(ref("schemas", "link"))},
		member{"numberReturned", whole()}, member{"timeStamp", moment0()})
	return withMember(structure(members...), member{"numberMatched", whole()})
}

// componentSchemas are all schemas by name.
func (s *Server) componentSchemas() object {
	out := describingSchemas()
	out = append(out, geometrySchemas()...)
	for i := range inventory.Collections {
		c := &inventory.Collections[i]
		out = append(out, featureSchemas(c)...)
		if s.config.Edit && c.Editable {
			out = append(out, member{"edit." + c.ID, editSchema(c)})
		}
	}
	return slices.Concat(out, tileSchemas(), s.answerSchemas(), workSchemas(), s.importSchemas())
}

// answerSchemas are those of the questions.
func (s *Server) answerSchemas() object {
	basis := membersOf(s.basis(inventory.Site{}, inventory.Run{}))
	position := []member{{"longitude", number()}, {"latitude", number()}}
	var (
		row   ranking.Row
		place question.Place
		cell  question.CellSum
		move  question.SupposedMove
	)
	rowValues, recordValues := row.Properties(), question.RecordProperties(&ranking.Record{})
	record := membersOf(recordValues)
	by := member{"by", words(ranking.Orders...)}
	ranked := listSchema(valuesSchema(rowValues), ref("schemas", "point"), true, append(basis, by)...)
	ranked = withMember(ranked, member{"draws", whole()}, member{"seed", seed()}, member{"top", whole()}, member{"note", text()})
	supposed := append(slices.Clone(basis), by, member{"changes", listOf(text())}, member{"note", text()})
	return object{
		{"features.ranking", ranked},
		{"rows.moves", rowsSchema(valuesSchema(move.Properties(), position...), supposed...)},
		{"features.moves", listSchema(valuesSchema(move.Properties()), ref("schemas", "point"), true, supposed...)},
		{"rows.places", rowsSchema(valuesSchema(place.Properties(), position...), basis...)},
		{"features.places", listSchema(valuesSchema(place.Properties()), ref("schemas", "point"), true, basis...)},
		{"features.grid", listSchema(valuesSchema(append(cellName(&cell), cell.Properties()...)), ref("schemas", "polygon"), false,
			append(slices.Clone(basis), member{"cells", words("hexagon", "square")}, member{"size_m", number()}, member{"total", valuesSchema(cell.Properties())}, member{"note", text()})...)},
		{"rows.records", rowsSchema(valuesSchema(recordValues, member{"links", listOf(ref("schemas", "link"))}))},
		{"rows.kept", rowsSchema(valuesSchema(rowValues, append(position, member{"tree_id", whole()})...), record...)},
		{"features.kept", listSchema(valuesSchema(rowValues, member{"tree_id", whole()}), ref("schemas", "point"), true, record...)},
		{"rows.compared", rowsSchema(valuesSchema(question.MoveProperties(&ranking.Move{})), member{"before", valuesSchema(recordValues)}, member{"after", valuesSchema(recordValues)})},
		{"checked", structure(member{"ranking_id", whole()}, member{"same", boolean()}, member{"rows_sha256", text()}, member{"rows_sha256_now", text()},
			member{"first_difference", nullable(loose(nil, member{"place", whole()}, member{"kept", nullable(object{{"type", "object"}})}, member{"now", nullable(object{{"type", "object"}})}))},
			member{"cautions", text()}, member{"links", listOf(ref("schemas", "link"))})},
		{"week", weekSchema()},
		{"weeks", documentSchema[weeksAnswer]()},
		{"place", documentSchema[placeAnswer]()},
		{"explanation", explanationSchema()},
	}
}

func membersOf(list []ranking.Property) []member {
	out := make([]member, len(list))
	for i, p := range list {
		out[i] = member{p.Name, valueSchema(p)}
	}
	return out
}
