package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/api/paper/pdf"
	"github.com/underbough/underbough/api/sheets"
	"github.com/underbough/underbough/inventory"
)

// outFlag is where a document goes.
type outFlag struct {
	Out string `required:"" help:"File to write; the ending says what: .html or .pdf. PDF needs Chromium." placeholder:"FILE" type:"path"`
}

// issuedFlag is who makes a sheet and when, as it says itself.
type issuedFlag struct {
	Issued string `help:"Instant that the sheet says it was made at, such as 2027-01-15T09:00:00Z (default: now). The same inputs and instant give the same bytes." placeholder:"INSTANT"`
	byFlag
}

func (f *issuedFlag) issue(c *cli) (sheets.Issue, error) {
	i := sheets.Issue{Client: c.Client, By: f.name(), At: time.Now()}
	if f.Issued != "" {
		_, at, ok := inventory.ParseInstant(f.Issued)
		if !ok {
			return i, inventory.Errorf(inventory.Invalid, "--issued %s: expected an instant such as 2027-01-15T09:00:00Z, or a day", f.Issued)
		}
		i.At = at
	}
	return i, nil
}

// write writes a document to the file, as HTML or PDF. The file is whole or as it
// was.
func (o *outFlag) write(c *cli, html []byte) error {
	switch strings.ToLower(filepath.Ext(o.Out)) {
	case ".html", ".htm":
	case ".pdf":
		b, err := pdf.Print(c.ctx, html, "")
		if err != nil {
			return err
		}
		html = b
	default:
		return inventory.Errorf(inventory.Invalid, "--out %s: expected a name that ends in .html or .pdf", o.Out)
	}
	return writeFile(c, o.Out, html)
}

// writeFile puts a file in the place of any other of its name, whole.
func writeFile(c *cli, path string, b []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-")
	if err != nil {
		return inventory.Errorf(inventory.Invalid, "--out %s: %w", path, err)
	}
	_, err = f.Write(b)
	if e := f.Chmod(0o644); err == nil {
		err = e
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return inventory.Errorf(inventory.Invalid, "--out %s: %w", path, err)
	}
	_, err = fmt.Fprintf(c.stdout, "%s: %d kB\n", path, (len(b)+999)/1000)
	return err
}

type crewSheetCmd struct {
	Year    int    `required:"" help:"Year of the package."`
	Package string `required:"" help:"Street or area, as jobs list shows it." placeholder:"NAME"`
	Access  string `help:"How to get in, where to park, whom to call." placeholder:"TEXT"`
	outFlag
	workFlags
	issuedFlag
}

// Run writes a crew sheet.
func (p *crewSheetCmd) Run(c *cli) error {
	issue, err := p.issue(c)
	if err != nil {
		return err
	}
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	sheet, err := sheets.Crew(c.ctx, s, b, p.Year, p.Package, issue)
	if err != nil {
		return err
	}
	sheet.Access = p.Access
	html, err := paper.Crew(sheet)
	if err != nil {
		return err
	}
	return p.write(c, html)
}

type bidSheetCmd struct {
	Year     int    `help:"Year (default: all)."`
	Package  string `help:"Street or area (default: all)." placeholder:"NAME"`
	Estimate bool   `help:"Add a sheet with the client's own hours and cost; not for bidders."`
	Out      string `required:"" help:"File to write: .xlsx or .csv." placeholder:"FILE" type:"path"`
	workFlags
	issuedFlag
}

// Run writes a bid sheet.
func (p *bidSheetCmd) Run(c *cli) error {
	issue, err := p.issue(c)
	if err != nil {
		return err
	}
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	sheet, err := sheets.Bid(c.ctx, s, b, p.Year, p.Package, p.Estimate, issue)
	if err != nil {
		return err
	}
	out := &bytes.Buffer{}
	switch strings.ToLower(filepath.Ext(p.Out)) {
	case ".xlsx":
		b, err := paper.BidXLSX(sheet)
		if err != nil {
			return err
		}
		out.Write(b)
	case ".csv":
		b, err := paper.BidCSV(sheet)
		if err != nil {
			return err
		}
		out.Write(b)
	default:
		return inventory.Errorf(inventory.Invalid, "--out %s: expected a name that ends in .xlsx or .csv", p.Out)
	}
	return writeFile(c, p.Out, out.Bytes())
}

type reportCmd struct {
	Top       int      `default:"20" help:"How many trees to tell of one by one (default: 20)."`
	Programme int64    `help:"Number of the programme to report (default: the latest whose jobs were made, or the latest)."`
	Notes     []string `help:"A paragraph of one's own." placeholder:"TEXT" sep:"none"`
	outFlag
	workFlags
	issuedFlag
}

// Run writes the report on a site.
func (p *reportCmd) Run(c *cli) error {
	if p.Top < 1 || p.Top > 200 {
		return inventory.Errorf(inventory.Invalid, "--top %d: expected 1 to 200", p.Top)
	}
	issue, err := p.issue(c)
	if err != nil {
		return err
	}
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	r, err := sheets.Report(c.ctx, s, b, sheets.ReportQuery{Top: p.Top, Programme: inventory.ProgrammeID(p.Programme), Notes: p.Notes}, issue)
	if err != nil {
		return err
	}
	html, err := paper.Report(r)
	if err != nil {
		return err
	}
	return p.write(c, html)
}
