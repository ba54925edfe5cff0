package api

import (
	"context"
	"net/http"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

const cm = 0.01 // metres

// handleComplete records what a crew did on a job.
func (s *Server) handleComplete(w http.ResponseWriter, r *http.Request) error {
	key, err := requestKey(r)
	if err != nil {
		return err
	}
	c, err := s.beginChangeOnce(w, r, key)
	if err != nil {
		return err
	}
	done := readCompletion(c.fields)
	done.By = c.by
	if err := c.end(); err != nil {
		return err
	}
	if c.again {
		return s.answerJob(w, r, c.id, http.StatusOK)
	}
	if key != "" {
		done.Request = &inventory.Asked{Key: key, SHA256: c.sum}
	}
	b, err := s.basisOfJob(r.Context(), c.id)
	if err != nil {
		return err
	}
	ctx, cancel := s.toTheEnd(r.Context())
	defer cancel()
	made, err := question.Complete(ctx, s.config.Store, b, c.id, done, c.from)
	if err != nil && made == nil {
		// The same request may have come first on another connection.
		if again, fault := s.askedBefore(r, c.id, key, c.sum); again {
			return s.answerJob(w, r, c.id, http.StatusOK)
		} else if fault != nil {
			return fault
		}
		return stepped(err)
	}
	return s.answerComputed(w, r, c.id, err)
}

// toTheEnd is a context for what is done in two steps, of which the second should
// follow even where the client is gone by then.
func (s *Server) toTheEnd(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.WithoutCancel(ctx), s.config.RequestTimeout)
}

// answerComputed answers with a job that a step was recorded of, which stays so
// where the tree could not be computed again: the log says why.
func (s *Server) answerComputed(w http.ResponseWriter, r *http.Request, id inventory.JobID, err error) error {
	if err != nil {
		r.Context().Value(exchangeKey{}).(*exchange).cause = err
	}
	return s.answerJob(w, r, id, http.StatusOK)
}

// basisOfJob is what is computed with on the site of a job, whose exposures are
// brought up to date first: what then follows from the job is little.
func (s *Server) basisOfJob(ctx context.Context, id inventory.JobID) (*question.Basis, error) {
	list, err := s.config.Store.FindJobs(ctx, inventory.JobQuery{Client: s.config.Client, IDs: []int64{int64(id)}})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, noJob(int64(id))
	}
	site, err := s.config.Store.GetSiteByID(ctx, s.config.Client, list[0].Site)
	if err != nil {
		return nil, err
	}
	_, err = s.bringUpToDate(ctx, site)
	return s.workBasis(ctx, site), err
}

// readCompletion reads a completion in the units that cuts are served in.
func readCompletion(f *fields) inventory.Completion {
	f.need("on", "the day that the work was done on, such as 2027-02-14")
	c := inventory.Completion{
		On: f.day("on").V, Dose: f.number("dose", 1), Hours: f.number("hours", 1), Note: f.text("note").V,
		Height: f.number("height_m", 1), CrownRadius: f.number("crown_radius_m", 1), Removed: f.truth("removed").V, Finished: f.truth("finished").V,
	}
	f.one("position", func(f *fields) {
		f.need("longitude", "degrees")
		f.need("latitude", "degrees")
		f.need("accuracy_m", "the radius that the device says, metres")
		f.need("at", "when the device was there")
		c.Position = &inventory.Position{Longitude: f.number("longitude", 1).V, Latitude: f.number("latitude", 1).V, Accuracy: f.number("accuracy_m", 1).V, At: f.moment("at").V}
	})
	f.each("cuts", func(f *fields) { c.Cuts = append(c.Cuts, readMadeCut(f)) })
	f.each("deviations", func(f *fields) {
		c.Deviations = append(c.Deviations, inventory.Deviation{What: f.text("what").V, Reason: f.text("reason").V})
	})
	return c
}

func readMadeCut(f *fields) inventory.MadeCut {
	f.need("kind", "one of "+joinWords(inventory.CutKinds))
	return inventory.MadeCut{
		Kind: inventory.CutKind(f.text("kind").V), Count: f.whole("count").V, Diameter: f.number("diameter_cm", cm), LateralDiameter: f.number("lateral_diameter_cm", cm),
		StubLength: f.number("stub_length_cm", cm), Height: f.number("height_m", 1), Bearing: f.number("bearing_deg", 1), Reach: f.number("reach_m", 1),
		OnCut: inventory.CutID(f.whole("on_cut").V), Gone: f.truth("gone").V, RegrowthLeft: f.number("regrowth_left_m", 1),
	}
}

// handleCheckJob records what somebody else than the crew says of work that is
// done.
func (s *Server) handleCheckJob(w http.ResponseWriter, r *http.Request) error {
	c, err := s.beginChange(w, r)
	if err != nil {
		return err
	}
	c.need("accept", "true, or false to send the job back to the crew")
	k := question.Checking{
		By: c.by, On: c.day("on").Or(s.today()), Accept: c.truth("accept").V, Reason: c.text("reason").V,
		WholeTree: c.likelihood("whole_tree"), Crown: c.likelihood("crown"), Limb: c.likelihood("limb"),
		Condition: c.text("condition").V, Finished: c.truth("finished").V,
	}
	if err := c.end(); err != nil {
		return err
	}
	b, err := s.basisOfJob(r.Context(), c.id)
	if err != nil {
		return err
	}
	ctx, cancel := s.toTheEnd(r.Context())
	defer cancel()
	j, err := question.Check(ctx, s.config.Store, b, c.id, k, c.from)
	if err != nil && (j == nil || !s.isChecked(ctx, c.id)) {
		return stepped(err)
	}
	return s.answerComputed(w, r, c.id, err)
}

// isChecked looks whether a step is recorded of which an error came back.
func (s *Server) isChecked(ctx context.Context, id inventory.JobID) bool {
	list, err := s.config.Store.FindJobs(ctx, inventory.JobQuery{Client: s.config.Client, IDs: []int64{int64(id)}})
	return err == nil && len(list) > 0 && list[0].State == inventory.Checked
}

// likelihood reads how likely a part was judged to fail; missing is not judged.
func (f *fields) likelihood(name string) inventory.Likelihood {
	word := f.text(name)
	l, ok := inventory.ParseLikelihood(word.V)
	if !ok {
		f.wrong(name, "is %.60q: expected improbable, possible, probable or imminent", word.V)
	}
	return l
}
