package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type rankCmd struct {
	Site   string `help:"Site to rank; may be left out where there is only one." placeholder:"NAME"`
	Over   string `help:"Only trees over any of these kinds of target, such as parking,walkway." placeholder:"KINDS"`
	Cut    string `help:"Only trees carrying any of these kinds of cut, such as topping,heading." placeholder:"KINDS"`
	Since  int    `help:"Only where such a cut was made in this year or later." placeholder:"YEAR"`
	By     string `default:"harm" enum:"harm,exposure,rating" help:"Order: harm, exposure or rating."`
	Limit  int    `default:"20" help:"How many trees to list; 0 lists all."`
	Format string `default:"table" enum:"table,json,geojson,csv" help:"table, json, geojson or csv."`
	assumptions
}

// Run brings the exposures up to date and lists the trees.
func (r *rankCmd) Run(c *cli) error {
	// A question that cannot be asked needs no database to say so.
	if _, err := r.query(); err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	return r.rank(c, s)
}

func (r *rankCmd) query() (q ranking.Query, err error) {
	q = ranking.Query{Since: r.Since, Limit: r.Limit}
	if q.Over, err = question.ParseKinds(splitList(r.Over)); err != nil {
		return q, err
	}
	if q.Cuts, err = question.ParseCuts(splitList(r.Cut)); err != nil {
		return q, err
	}
	q.By, err = ranking.ParseBy(r.By)
	return q, err
}

func (r *rankCmd) rank(c *cli, s *session) error {
	q, err := r.query()
	if err != nil {
		return err
	}
	p, err := r.profile()
	if err != nil {
		return err
	}
	asOf, err := r.asOf()
	if err != nil {
		return err
	}
	site, err := s.GetSite(c.ctx, s.client, r.Site)
	if err != nil {
		return err
	}
	answer, err := question.Rank(c.ctx, s, site, q, p, asOf)
	if err != nil {
		return err
	}
	return writeRanking(c, answer, r.Format)
}

func writeRanking(c *cli, a *question.Ranking, format string) error {
	switch format {
	case "json":
		return rankingJSON(c.stdout, a)
	case "geojson":
		return rankingGeoJSON(c.stdout, a)
	case "csv":
		return rankingCSV(c.stdout, a)
	}
	return rankingTable(c.stdout, a, terminalWidth(c.stdout))
}

// rankingTable is the answer for people.
func rankingTable(w io.Writer, a *question.Ranking, width int) error {
	fmt.Fprintf(w, "%s: %s, by %s: %d of %d trees\n", a.Site.Name, describe(a.Query), a.Query.By, len(a.Rows), a.Total)
	fmt.Fprintf(w, "%d standing trees over %d targets, %d overlaps; profile %s, as of %s\n\n",
		a.Run.Trees, a.Run.Targets, a.Run.Overlaps, a.Run.ProfileName, a.Run.AsOf.Format(time.DateOnly))
	t := &table{columns: []column{
		{title: "#", right: true}, {title: "tag", least: 6}, {title: "species", least: 10}, {title: "over", least: 16},
		{title: "people", right: true}, {title: "busiest", right: true, spare: 4}, {title: "person-h/yr", right: true, spare: 1}, {title: "vehicles", right: true, spare: 2},
		{title: "cuts", least: 10}, {title: "failure", least: 9}, {title: "rating", spare: 3}, {title: "harm index", right: true},
	}}
	for i := range a.Rows {
		r := &a.Rows[i]
		over := make([]string, len(r.Over))
		for k, u := range r.Over {
			over[k] = u.String()
		}
		failure := r.Likelihood
		if r.Inferred() {
			failure += "*"
		}
		name := r.Species
		if name == "" {
			name = r.CommonName
		}
		t.add(r.Reason(), strconv.Itoa(r.Rank), label(r), name, strings.Join(over, ", "),
			ranking.Figure(r.Count.Persons()), ranking.Figure(r.Week.Busiest), ranking.Figure(r.PersonHours()), ranking.Figure(r.Count.Vehicles),
			r.CutSummary(), failure, r.Rating, ranking.Figure(r.HarmIndex()))
	}
	if len(a.Rows) > 0 {
		if err := t.write(w, width); err != nil {
			return err
		}
	} else {
		fmt.Fprintln(w, "No tree answers to that.")
	}
	_, err := fmt.Fprintf(w, `
people, vehicles: mean number under the crown or limb over the most, all hours of the week; busiest: people in the busiest hour.
* inferred by a screening rule, judged by nobody. The harm index orders trees; it predicts nothing.
%s
`, cautions)
	return err
}

func label(r *ranking.Row) string {
	if r.Tag != "" {
		return r.Tag
	}
	return r.SourceID
}

// describe says a question in words.
func describe(q ranking.Query) string {
	text := "trees"
	if len(q.Cuts) > 0 {
		text += " carrying " + words(q.Cuts)
	}
	if q.Since > 0 {
		text += fmt.Sprintf(" since %d", q.Since)
	}
	if len(q.Over) > 0 {
		text += " over " + words(q.Over)
	}
	return text
}

func words[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = strings.ReplaceAll(string(w), "_", " ")
	}
	return strings.Join(out, " or ")
}

func properties(r *ranking.Row) *orderedMap {
	m := &orderedMap{}
	for _, p := range r.Properties() {
		m.set(p.Name, p.Value)
	}
	return m
}

func rankingJSON(w io.Writer, a *question.Ranking) error {
	rows := make([]*orderedMap, len(a.Rows))
	for i := range a.Rows {
		rows[i] = properties(&a.Rows[i])
		rows[i].set("longitude", a.Rows[i].Point[0])
		rows[i].set("latitude", a.Rows[i].Point[1])
	}
	out := &orderedMap{}
	out.set("site", a.Site.Name)
	out.set("question", describe(a.Query))
	out.set("by", a.Query.By)
	out.set("total", a.Total)
	out.set("standing_trees", a.Run.Trees)
	out.set("targets", a.Run.Targets)
	out.set("overlaps", a.Run.Overlaps)
	out.set("profile", a.Run.ProfileName)
	out.set("profile_digest", a.Run.ProfileDigest)
	out.set("as_of", a.Run.AsOf.Format(time.DateOnly))
	out.set("cautions", cautions)
	out.set("rows", rows)
	return encode(w, out)
}

func rankingGeoJSON(w io.Writer, a *question.Ranking) error {
	features := make([]*orderedMap, len(a.Rows))
	for i := range a.Rows {
		geometry, f := &orderedMap{}, &orderedMap{}
		geometry.set("type", "Point")
		geometry.set("coordinates", a.Rows[i].Point)
		f.set("type", "Feature")
		f.set("id", a.Rows[i].Tree)
		f.set("geometry", geometry)
		f.set("properties", properties(&a.Rows[i]))
		features[i] = f
	}
	out := &orderedMap{}
	out.set("type", "FeatureCollection")
	out.set("cautions", cautions)
	out.set("features", features)
	return encode(w, out)
}

func encode(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	return e.Encode(v)
}

func rankingCSV(w io.Writer, a *question.Ranking) error {
	out := csv.NewWriter(w)
	var empty ranking.Row
	header := []string{"longitude", "latitude"}
	for _, p := range empty.Properties() {
		header = append(header, p.Name)
	}
	if err := out.Write(header); err != nil {
		return err
	}
	for i := range a.Rows {
		r := &a.Rows[i]
		cells := []string{strconv.FormatFloat(r.Point[0], 'f', 7, 64), strconv.FormatFloat(r.Point[1], 'f', 7, 64)}
		for _, p := range r.Properties() {
			cells = append(cells, cell(p.Value))
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// cell writes a value for a spreadsheet: lists with spaces between, nothing for
// what is missing. A text that a spreadsheet would take for a formula is quoted.
func cell(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		if v != "" && strings.ContainsRune("=+-@\t\r", rune(v[0])) {
			return "'" + v
		}
		return v
	case []string:
		return strings.Join(v, " ")
	case []float64, []int:
		return strings.Trim(fmt.Sprint(v), "[]")
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return fmt.Sprint(v)
}

// orderedMap is a JSON object that keeps its members in order.
type orderedMap struct {
	names  []string
	values []any
}

func (m *orderedMap) set(name string, v any) {
	m.names, m.values = append(m.names, name), append(m.values, v)
}

// MarshalJSON writes the members in the order they were set.
func (m *orderedMap) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, name := range m.names {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendQuote(b, name)
		b = append(b, ':')
		v, err := json.Marshal(m.values[i])
		if err != nil {
			return nil, err
		}
		b = append(b, v...)
	}
	return append(b, '}'), nil
}
