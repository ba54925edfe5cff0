package inventory_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// The states and who may take which step are our own.
func TestJobSteps(t *testing.T) {
	done := &inventory.Completion{By: "Crew A"}
	gate := []inventory.Gate{{Name: "permit"}}
	for _, c := range []struct {
		job        inventory.Job
		to         inventory.JobState
		by, reason string
		kind       inventory.ErrorKind // Internal for none
		says       string
	}{
		{inventory.Job{State: inventory.Proposed}, inventory.Approved, "owner", "", inventory.Internal, ""},
		{inventory.Job{State: inventory.Proposed}, inventory.Done, "owner", "", inventory.Conflict, "approved or withdrawn"},
		{inventory.Job{State: inventory.Proposed}, inventory.Withdrawn, "owner", " ", inventory.Invalid, "reason"},
		{inventory.Job{State: inventory.Proposed}, "finished", "owner", "", inventory.Invalid, "finished"},
		{inventory.Job{State: inventory.Proposed}, inventory.Approved, "", "", inventory.Invalid, "by is empty"},
		{inventory.Job{State: inventory.Approved, Gates: gate}, inventory.InHand, "crew", "", inventory.Conflict, "permit"},
		{inventory.Job{State: inventory.Approved}, inventory.InHand, "crew", "", inventory.Internal, ""},
		{inventory.Job{State: inventory.Approved}, inventory.Proposed, "owner", "", inventory.Invalid, "reason"},
		{inventory.Job{State: inventory.InHand}, inventory.Done, "crew", "", inventory.Invalid, "completion"},
		{inventory.Job{State: inventory.InHand, Completion: done}, inventory.Done, "crew", "", inventory.Internal, ""},
		{inventory.Job{State: inventory.Done, Completion: done}, inventory.Checked, " crew a", "", inventory.Invalid, "somebody else"},
		{inventory.Job{State: inventory.Done, Completion: done}, inventory.Checked, "inspector", "", inventory.Internal, ""},
		{inventory.Job{State: inventory.Done, Completion: done}, inventory.InHand, "inspector", "stub left", inventory.Internal, ""},
		{inventory.Job{State: inventory.Withdrawn}, inventory.Proposed, "owner", "money was found", inventory.Internal, ""},
	} {
		from := c.job.State
		c.job.TreeStatus = inventory.Alive
		err := c.job.Step(c.to, c.by, c.reason)
		if c.kind == inventory.Internal {
			if err != nil || c.job.State != c.to {
				t.Errorf("%s to %s: %v, now %s", from, c.to, err, c.job.State)
			}
			continue
		}
		if inventory.KindOf(err) != c.kind || err == nil || !strings.Contains(err.Error(), c.says) || c.job.State != from {
			t.Errorf("%s to %s: %v (%s), expected an error about %q", from, c.to, err, c.job.State, c.says)
		}
	}
}

// A job whose tree is gone goes no further.
func TestJobOfATreeThatIsGone(t *testing.T) {
	for _, status := range []inventory.TreeStatus{inventory.Removed, inventory.Stump, ""} {
		j := inventory.Job{State: inventory.Proposed, TreeStatus: status}
		if err := j.Step(inventory.Approved, "owner", ""); inventory.KindOf(err) != inventory.Conflict || !strings.Contains(err.Error(), "withdraw") {
			t.Errorf("%q: %v", status, err)
		}
		if err := j.Step(inventory.Withdrawn, "owner", "the tree is gone"); err != nil {
			t.Errorf("%q withdrawn: %v", status, err)
		}
	}
}

// What was cut stays cut: a round that is sent back counts, and its defects stand
// until the wood with them is taken off.
func TestRounds(t *testing.T) {
	first := inventory.Completion{Dose: inventory.Some(0.1), Cuts: []inventory.MadeCut{{Recorded: 7}, {Recorded: 8}}, Defects: []inventory.Defect{{Cut: 0, What: "stub"}, {Cut: 1, What: "heading"}, {Cut: -1, What: "dose"}}}
	second := inventory.Completion{Dose: inventory.Some(0.02), Cuts: []inventory.MadeCut{{OnCut: 7, Gone: true, Recorded: 9}}, Earlier: []inventory.Completion{first}}
	if d := second.TotalDose(); !d.OK || d.V < 0.1199 || d.V > 0.1201 {
		t.Errorf("dose of both rounds: %+v", d)
	}
	var left []string
	for _, d := range second.Standing() {
		left = append(left, d.What)
	}
	if strings.Join(left, ",") != "heading,dose" {
		t.Errorf("standing defects: %v", left)
	}
}
