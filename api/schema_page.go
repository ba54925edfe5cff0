package api

import (
	"fmt"

	"github.com/underbough/underbough/inventory"
)

// schemaTable is a schema as a page shows it.
type schemaTable struct {
	Note string
	Rows []schemaRow
}

type schemaRow struct {
	Name, Type, Title, Note string
	Words                   []string // the only values
	ReadOnly                bool
}

// schemaPage shows a schema as a table.
func (s *Server) schemaPage(d *describing, c *inventory.Collection, schema object) error {
	note, _ := schema.get("description").(string)
	table := schemaTable{Note: note}
	properties, _ := schema.get("properties").(object)
	for _, m := range properties {
		if m.value, _ = m.value.(object); m.value == nil {
			continue
		}
		table.Rows = append(table.Rows, rowOf(m.name, m.value.(object)))
	}
	title, _ := schema.get("title").(string)
	base := s.base(d.r) + "/collections"
	return d.page("schema", htmlPage{Title: title, Data: table, Trail: []step{{base + "?f=html", "Collections"}, {base + "/" + c.ID + "?f=html", c.Title}}})
}

func rowOf(name string, property object) schemaRow {
	text := func(member string) string {
		if v := property.get(member); v != nil {
			return fmt.Sprint(v)
		}
		return ""
	}
	row := schemaRow{Name: name, Type: text("type"), Title: text("title"), Note: text("description"), ReadOnly: property.get("readOnly") == true}
	if format := text("format"); format != "" && format != "int64" && format != "double" {
		row.Type = format
	}
	row.Words, _ = property.get("enum").([]string)
	if items, ok := property.get("items").(object); ok {
		row.Type = "list"
		row.Words, _ = items.get("enum").([]string)
	}
	return row
}
