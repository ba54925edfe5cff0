package api

import (
	"net/http"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// handleAddJob makes a job by hand: one visit of a tree's specification.
func (s *Server) handleAddJob(w http.ResponseWriter, r *http.Request) error {
	p, actor, err := s.beginWork(w, r, "site")
	if err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	f.need("tag", "the tag or the source id of a tree")
	f.need("year", "the year that the work is planned for")
	v := question.NewVisit{Tag: f.text("tag").V, Visit: f.whole("visit").Or(1), Year: f.whole("year").V, Urgent: f.truth("urgent").V, By: s.by(actor, f)}
	if err := f.end(); err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	j, err := question.AddJob(r.Context(), s.config.Store, s.workBasis(r.Context(), site), v)
	if err != nil {
		return err
	}
	return s.answerJob(w, r, j.ID, http.StatusCreated)
}

// changing is a request that changes one job, once it is known to be allowed.
type changing struct {
	id   inventory.JobID
	from inventory.Opt[int] // version that it was made from
	*fields
	by    string
	again bool // the same request was done before
}

// beginChange reads the body of a request that changes a job. What it does not
// know is refused by its end, once all is read.
func (s *Server) beginChange(w http.ResponseWriter, r *http.Request) (c changing, err error) {
	return s.beginChangeOnce(w, r, "")
}

// beginChangeOnce is beginChange of a request with a key, whose version is of no
// account where it was done before.
func (s *Server) beginChangeOnce(w http.ResponseWriter, r *http.Request, key string) (c changing, err error) {
	_, actor, err := s.beginWork(w, r)
	if err != nil {
		return c, err
	}
	id, err := pathNumber(r, "job")
	if err != nil {
		return c, err
	}
	c.id = inventory.JobID(id)
	if key != "" {
		if c.fields, err = readFields(w, r); err != nil {
			return c, err
		}
		if c.again, err = s.askedBefore(r, c.id, key, c.sum); err != nil {
			return c, err
		}
	}
	if !c.again {
		if c.from, err = s.jobVersion(r, c.id); err != nil {
			return c, err
		}
	}
	if c.fields == nil {
		if c.fields, err = readFields(w, r); err != nil {
			return c, err
		}
	}
	c.by = s.by(actor, c.fields)
	return c, nil
}

// handleMoveJob takes a job to another state.
func (s *Server) handleMoveJob(w http.ResponseWriter, r *http.Request) error {
	c, err := s.beginChange(w, r)
	if err != nil {
		return err
	}
	c.need("to", "the state that the job goes to, one of "+joinWords(inventory.JobStates))
	to, reason := c.text("to").V, c.text("reason").V
	if err := c.end(); err != nil {
		return err
	}
	if _, err := question.Move(r.Context(), s.config.Store, s.config.Client, c.id, inventory.JobState(to), c.by, reason, c.from); err != nil {
		return stepped(err)
	}
	return s.answerJob(w, r, c.id, http.StatusOK)
}

// handleClearGate settles a gate of a job, or opens it again.
func (s *Server) handleClearGate(w http.ResponseWriter, r *http.Request) error {
	c, err := s.beginChange(w, r)
	if err != nil {
		return err
	}
	c.need("name", "the name of one of the job's gates")
	g := question.Settling{Gate: c.text("name").V, Cleared: c.truth("cleared").Or(true), Reference: c.text("reference").V, On: c.day("on").Or(s.today()), By: c.by, Today: s.today()}
	if err := c.end(); err != nil {
		return err
	}
	if _, err := question.ClearGate(r.Context(), s.config.Store, s.config.Client, c.id, g, c.from); err != nil {
		return stepped(err)
	}
	return s.answerJob(w, r, c.id, http.StatusOK)
}

// handleUrgent says that a job cannot wait, and why.
func (s *Server) handleUrgent(w http.ResponseWriter, r *http.Request) error {
	c, err := s.beginChange(w, r)
	if err != nil {
		return err
	}
	c.need("reason", "why the work cannot wait")
	reason := c.text("reason").V
	if err := c.end(); err != nil {
		return err
	}
	b, err := s.basisOfJob(r.Context(), c.id)
	if err != nil {
		return err
	}
	if _, err := question.MarkUrgent(r.Context(), s.config.Store, b, c.id, c.by, reason, c.from); err != nil {
		return stepped(err)
	}
	return s.answerJob(w, r, c.id, http.StatusOK)
}

// today is the day that the service's clock shows.
func (s *Server) today() time.Time {
	y, m, d := s.config.Now().UTC().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}
