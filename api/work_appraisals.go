package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
	"github.com/underbough/underbough/inventory/question"
)

type appraisalAnswer struct {
	ID        int64               `json:"appraisal_id"`
	Tree      inventory.TreeID    `json:"tree_id"`
	Appraisal appraisal.Appraisal `json:"appraisal"`
	MadeAt    time.Time           `json:"made_at"`
	MadeBy    string              `json:"made_by"`
	Links     []link              `json:"links"`
}

type appraisalsAnswer struct {
	Site       string            `json:"site"`
	Appraisals []appraisalAnswer `json:"appraisals"` // the latest of each tree
	Value      float64           `json:"value"`      // of all of them
	Currency   string            `json:"currency"`   // of the practice; each appraisal names its own
	Cautions   string            `json:"cautions"`
	Links      []link            `json:"links"`
}

func (s *Server) appraisalAnswer(r *http.Request, k *inventory.KeptAppraisal) (out appraisalAnswer, err error) {
	out = appraisalAnswer{ID: k.ID, Tree: k.Tree, MadeAt: k.MadeAt, MadeBy: k.MadeBy,
		Links: []link{{Href: fmt.Sprintf("%s/collections/trees/items/%d", s.base(r), k.Tree), Rel: "related", Type: typeGeoJSON, Title: "The tree"}}}
	if err := json.Unmarshal(k.Body, &out.Appraisal); err != nil {
		return out, fmt.Errorf("appraisal %d: %w", k.ID, err)
	}
	return out, nil
}

// handleAppraisals lists what the trees of a site were appraised at.
func (s *Server) handleAppraisals(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	list, err := s.config.Store.FindAppraisals(r.Context(), site)
	if err != nil {
		return err
	}
	out := appraisalsAnswer{Site: site.Name, Appraisals: make([]appraisalAnswer, len(list)), Currency: s.config.Practice.Rates.Currency, Cautions: question.Cautions,
		Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	for i := range list {
		if out.Appraisals[i], err = s.appraisalAnswer(r, &list[i]); err != nil {
			return err
		}
		out.Value += list[i].Value
	}
	return s.sendTagged(w, r, &out)
}

// handleAppraise keeps what a tree is worth by the ratings that a person gives.
func (s *Server) handleAppraise(w http.ResponseWriter, r *http.Request) error {
	p, actor, err := s.beginWork(w, r, "site", "tag")
	if err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	a, measured := s.readAppraisal(f)
	a.By = s.by(actor, f)
	if err := f.end(); err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	tree, err := s.treeNamed(r.Context(), site, p)
	if err != nil {
		return err
	}
	a.Tree = tree.ID
	if !measured {
		if !tree.DBH.OK {
			return invalid("diameter_cm is missing, and none is recorded of tree %s: give it", p["tag"])
		}
		a.Diameter = tree.DBH.V
	}
	if err := a.Appraise(); err != nil {
		return err
	}
	k := &inventory.KeptAppraisal{Tree: tree.ID, Value: a.Value, MadeBy: a.By}
	if k.Body, err = json.Marshal(a); err != nil {
		return err
	}
	if err := s.config.Store.SaveAppraisal(r.Context(), site, k); err != nil {
		return err
	}
	out, err := s.appraisalAnswer(r, k)
	if err != nil {
		return err
	}
	return writeCreated(w, &out)
}

// readAppraisal reads costs, diameters and ratings; measured is false where the
// tree's own diameter is to be taken.
func (s *Server) readAppraisal(f *fields) (a *appraisal.Appraisal, measured bool) {
	diameter := f.number("diameter_cm", cm)
	a = &appraisal.Appraisal{
		Method: appraisal.Method(f.text("method").Or(string(appraisal.TrunkFormula))), Diameter: diameter.V,
		NurseryCost: f.number("nursery_cost", 1).V, NurseryDiameter: f.number("nursery_diameter_cm", cm).V,
		Health: f.number("health", 1), Structure: f.number("structure", 1), Form: f.number("form", 1), Functional: f.number("functional_limits", 1), External: f.number("external_limits", 1),
		InstalledCost: f.number("installed_cost", 1).V, ReplacementDiameter: f.number("replacement_diameter_cm", cm).V, UnitCost: f.number("unit_cost_per_cm2", 1).V,
		Species: f.number("species_rating", 1), Condition: f.number("condition_rating", 1), Location: f.number("location_rating", 1),
		On: f.day("on").Or(s.today()), Currency: f.text("currency").Or(s.config.Practice.Rates.Currency),
	}
	return a, diameter.OK
}
