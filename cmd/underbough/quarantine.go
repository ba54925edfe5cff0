package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

type quarantineCmd struct {
	List    quarantineList    `cmd:"" default:"withargs" help:"List held records with what is wrong and what to do."`
	Export  quarantineExport  `cmd:"" help:"Write held records as JSON lines, to be mended and readmitted."`
	Readmit quarantineReadmit `cmd:"" help:"Import held records again, as they are or mended."`
	Drop    quarantineDrop    `cmd:"" help:"Settle held records that nobody wants; the rows are kept."`
}

type quarantineFilter struct {
	Site string  `help:"Only of this site." placeholder:"NAME"`
	File string  `help:"Only of this file." placeholder:"NAME"`
	ID   []int64 `help:"Only these." placeholder:"ID"`
}

func (f *quarantineFilter) find(c *cli, s *session) ([]inventory.QuarantineRow, error) {
	if f.Site != "" {
		if _, err := s.GetSite(c.ctx, s.client, f.Site); err != nil {
			return nil, err
		}
	}
	return s.FindQuarantined(c.ctx, s.client, inventory.QuarantineFilter{Site: f.Site, FileName: f.File, IDs: f.ID})
}

// held opens the inventory for one listing.
func (f *quarantineFilter) held(c *cli) ([]inventory.QuarantineRow, error) {
	s, err := c.session()
	if err != nil {
		return nil, err
	}
	defer s.close()
	return f.find(c, s)
}

type quarantineList struct {
	quarantineFilter
	Format string `default:"table" enum:"table,json" help:"table or json."`
}

// Run lists held records.
func (q *quarantineList) Run(c *cli) error {
	rows, err := q.held(c)
	if err != nil {
		return err
	}
	if q.Format == "json" {
		return exportRows(c.stdout, rows)
	}
	if len(rows) == 0 {
		fmt.Fprintln(c.stdout, "Nothing is held.")
		return nil
	}
	t := &table{columns: []column{
		{title: "id", right: true}, {title: "site", least: 8}, {title: "file", least: 12}, {title: "record", right: true}, {title: "field", least: 8}, {title: "what is wrong", least: 20},
	}}
	for _, r := range rows {
		t.add("", strconv.FormatInt(r.ID, 10), r.Site, r.FileName, strconv.FormatInt(r.Record, 10), r.Field, r.Reason)
	}
	if err := t.write(c.stdout, terminalWidth(c.stdout)); err != nil {
		return err
	}
	fmt.Fprintf(c.stdout, "\n%d held. To mend them: underbough quarantine export > held.jsonl, correct each \"row\", then underbough quarantine readmit held.jsonl\n", len(rows))
	return nil
}

type quarantineExport struct {
	quarantineFilter
}

// Run writes held records as JSON lines.
func (q *quarantineExport) Run(c *cli) error {
	rows, err := q.held(c)
	if err != nil {
		return err
	}
	return exportRows(c.stdout, rows)
}

func exportRows(w io.Writer, rows []inventory.QuarantineRow) error {
	out := bufio.NewWriter(w)
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	for i := range rows {
		if err := e.Encode(&rows[i]); err != nil {
			return err
		}
	}
	return out.Flush()
}

type quarantineReadmit struct {
	Mended string `arg:"" optional:"" name:"file" help:"JSON lines written by export, with the rows mended; - reads standard input. Without it the held rows are read as they are." type:"path"`
	quarantineFilter
	Mapping string  `help:"Mapping file in place of the one they were read by." placeholder:"FILE" type:"existingfile"`
	MaxKM   float64 `name:"max-km" default:"-1" help:"Another limit of distance, kilometres; 0 sets none."`
	Format  string  `enum:"text,json" default:"text" help:"Form of the summary."`
}

// Run imports held records again.
func (q *quarantineReadmit) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	rows, err := q.rows(c, s)
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return inventory.Errorf(inventory.NotFound, "no held record answers to that")
	}
	o := importers.Options{Client: s.client, MaxKM: q.MaxKM, Actor: user(), Year: time.Now().Year()}
	if q.Mapping != "" {
		b, err := os.ReadFile(q.Mapping)
		if err != nil {
			return err
		}
		if o.Mapping, err = importers.ParseMapping(b); err != nil {
			return err
		}
	}
	counts, err := importers.Readmit(c.ctx, s, rows, o)
	if err != nil {
		return err
	}
	i := importCmd{Format: q.Format}
	return i.report(c, summary{File: "readmitted", As: string(rows[0].Role), Site: rows[0].Site, Counts: counts})
}

// rows returns the held records to read again, with the mended text where a
// file brings it.
func (q *quarantineReadmit) rows(c *cli, s *session) ([]inventory.QuarantineRow, error) {
	if q.Mended == "" {
		return q.find(c, s)
	}
	in, _, err := openInput(q.Mended)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	only := q.ID
	q.ID = nil
	mended := make(map[int64]string)
	d := json.NewDecoder(in)
	for line := 1; ; line++ {
		var row struct {
			ID  *int64          `json:"id"`
			Row json.RawMessage `json:"row"`
		}
		if err := d.Decode(&row); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, inventory.Errorf(inventory.Invalid, "%s, entry %d: it is not the JSON that export writes: a number as id, and the row as a text or an object", q.Mended, line)
		}
		text := rowText(row.Row)
		if row.ID == nil || strings.TrimSpace(text) == "" {
			return nil, inventory.Errorf(inventory.Invalid, "%s, entry %d: expected an id and a row, as export writes them", q.Mended, line)
		}
		if len(only) > 0 && !slices.Contains(only, *row.ID) {
			continue
		}
		mended[*row.ID] = text
		q.ID = append(q.ID, *row.ID)
	}
	if len(mended) == 0 { // no ids would mean all that is held
		return nil, nil
	}
	rows, err := q.find(c, s)
	if err != nil {
		return nil, err
	}
	for i := range rows {
		if text, ok := mended[rows[i].ID]; ok {
			rows[i].Text = text
		}
	}
	if len(rows) < len(mended) {
		c.say("%d of the %d records in %s are not held any more and are passed over", len(mended)-len(rows), len(mended), q.Mended)
	}
	return rows, nil
}

// rowText returns a mended row: a text, or an object put there as it is.
func rowText(raw json.RawMessage) string {
	var text string
	if json.Unmarshal(raw, &text) == nil {
		return text
	}
	return string(raw)
}

type quarantineDrop struct {
	ID []int64 `arg:"" help:"Ids of the held records."`
}

// Run settles held records as unwanted.
func (q *quarantineDrop) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	n, err := s.DropQuarantined(c.ctx, s.client, q.ID)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.stdout, "%d dropped\n", n)
	return nil
}
