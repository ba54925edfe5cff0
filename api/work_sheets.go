package api

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"crypto/sha256"
	"encoding/base64"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/api/paper/pdf"
	"github.com/underbough/underbough/api/sheets"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

var (
	paperForms = []string{typeHTML, typePDF}
	bidForms   = []string{typeXLSX, typeCSV}
)

// sheetQuestion is what a request asks of a sheet.
type sheetQuestion struct {
	params
	form string
	*question.Basis
	issue sheets.Issue
}

func (s *Server) sheetQuestion(r *http.Request, forms []string, known ...string) (q sheetQuestion, err error) {
	if q.params, err = parseParams(r, append(known, "site", "f")...); err != nil {
		return q, err
	}
	if q.form, err = negotiate(r, q.params, forms...); err != nil {
		return q, err
	}
	if q.form == typePDF {
		if err := canPrint(); err != nil {
			return q, err
		}
	}
	site, err := s.site(r.Context(), q.params["site"])
	q.Basis, q.issue = s.workBasis(r.Context(), site), sheets.Issue{At: s.config.Now()}
	return q, err
}

// handleCrewSheet gives what a crew takes along to a package of jobs.
func (s *Server) handleCrewSheet(w http.ResponseWriter, r *http.Request) error {
	q, err := s.sheetQuestion(r, paperForms, "year", "package")
	if err != nil {
		return err
	}
	for _, name := range []string{"year", "package"} {
		if q.params[name] == "" {
			return &parameterError{name, "missing: a sheet is of one package of one year"}
		}
	}
	year, err := q.whole("year", 0, 1900, 2200)
	if err != nil {
		return err
	}
	pack, err := q.words("package")
	if err != nil {
		return err
	}
	sheet, err := sheets.Crew(r.Context(), s.config.Store, q.Basis, year, pack, q.issue)
	if err != nil {
		return blame("package", err)
	}
	body, err := paper.Crew(sheet)
	if err != nil {
		return err
	}
	return s.writePaper(w, r, &q, "crew-sheet", body)
}

// handleBidSheet gives the work that bidders price.
func (s *Server) handleBidSheet(w http.ResponseWriter, r *http.Request) error {
	q, err := s.sheetQuestion(r, bidForms, "year", "package", "estimate", "list")
	if err != nil {
		return err
	}
	year, err := q.whole("year", 0, 1900, 2200)
	if err != nil {
		return err
	}
	pack, err := q.words("package")
	if err != nil {
		return err
	}
	estimate := q.params["estimate"]
	if estimate != "" && estimate != "true" && estimate != "false" {
		return paramError("estimate", estimate, "expected true or false")
	}
	list := q.params["list"]
	switch {
	case list != "" && list != "quantities" && list != "trees":
		return paramError("list", list, "expected quantities or trees")
	case list != "" && q.form != typeCSV:
		return &parameterError{"list", "means nothing without f=csv: a workbook has both lists"}
	case estimate == "true" && q.form == typeCSV:
		return &parameterError{"estimate", "means nothing with f=csv: the estimate is a sheet of the workbook"}
	}
	done, err := s.sweepTrees(r.Context(), q.Site)
	if err != nil {
		return err
	}
	sheet, err := sheets.Bid(r.Context(), s.config.Store, q.Basis, year, pack, estimate == "true", q.issue)
	done()
	if err != nil {
		return blame("package", err)
	}
	write := paper.BidXLSX
	switch {
	case q.form == typeCSV && list == "trees":
		write = paper.BidTreesCSV
	case q.form == typeCSV:
		write = paper.BidCSV
	}
	body, err := write(sheet)
	if err != nil {
		return err
	}
	return s.writeSheet(w, r, q.form, "bid-sheet", body)
}

// mostTop is how many trees a report tells of one by one at most: each is opened.
const mostTop = 200

// handleReport gives the report on a site.
func (s *Server) handleReport(w http.ResponseWriter, r *http.Request) error {
	q, err := s.sheetQuestion(r, paperForms, "programme", "top")
	if err != nil {
		return err
	}
	ask := sheets.ReportQuery{}
	if ask.Top, err = q.whole("top", 0, 1, mostTop); err != nil {
		return err
	}
	number, err := q.whole("programme", 0, 1, 1<<53-1)
	if err != nil {
		return err
	}
	ask.Programme = inventory.ProgrammeID(number)
	done, err := s.sweepTrees(r.Context(), q.Site)
	if err != nil {
		return err
	}
	report, err := sheets.Report(r.Context(), s.config.Store, q.Basis, ask, q.issue)
	done()
	if err != nil {
		if ask.Programme != 0 {
			err = blame("programme", err)
		}
		return err
	}
	body, err := paper.Report(report)
	if err != nil {
		return err
	}
	return s.writePaper(w, r, &q, "report", body)
}

// canPrint tells early that there is nothing to print with.
func canPrint() error {
	_, err := pdf.Find("")
	return unprinted(err)
}

func unprinted(err error) error {
	if errors.Is(err, pdf.ErrNoBrowser) {
		return &statusError{http.StatusNotImplemented, err.Error() + " (f=html gives it)"}
	}
	return err
}

// writePaper answers with a document as HTML, or printed.
func (s *Server) writePaper(w http.ResponseWriter, r *http.Request, q *sheetQuestion, name string, html []byte) (err error) {
	if q.form == typeHTML {
		w.Header().Set("Content-Security-Policy", stylesOnly(html))
		w.Header().Set("Referrer-Policy", "same-origin")
		return s.writeSheet(w, r, q.form, name, html)
	}
	body, err := s.print(r.Context(), html)
	if err != nil {
		return err
	}
	return s.writeSheet(w, r, q.form, name, body)
}

// print prints one document at a time: a browser takes much memory.
func (s *Server) print(ctx context.Context, html []byte) ([]byte, error) {
	select {
	case s.prints <- struct{}{}:
		defer func() { <-s.prints }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	body, err := pdf.Print(ctx, html, "")
	if err != nil && ctx.Err() != nil {
		return nil, ctx.Err()
	}
	return body, unprinted(err)
}

var styles = regexp.MustCompile(`(?s)<style>(.*?)</style>`)

// stylesOnly is the policy of a document that has styles within it and nothing
// else: a style that came in with data is none of its own.
func stylesOnly(html []byte) string {
	var own strings.Builder
	for _, style := range styles.FindAllSubmatch(html, -1) {
		sum := sha256.Sum256(style[1])
		own.WriteString(" 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'")
	}
	return "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'; img-src data:; style-src" + own.String()
}

// endings are those of the files that sheets are saved as.
var endings = map[string]string{typeHTML: ".html", typePDF: ".pdf", typeXLSX: ".xlsx", typeCSV: ".csv"}

// writeSheet answers with a sheet. It says when it was made, so that none is kept.
func (s *Server) writeSheet(w http.ResponseWriter, r *http.Request, form, name string, body []byte) error {
	contentType(w, form)
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Vary", "Accept")
	how := "attachment"
	if form == typeHTML || form == typePDF {
		how = "inline"
	}
	h.Set("Content-Disposition", how+"; filename*=UTF-8''"+url.PathEscape(name+endings[form]))
	return writeBody(w, r, body)
}
