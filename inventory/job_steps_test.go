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
