package inventory

import (
	"slices"
	"strings"
)

// steps are the states that a job can go to from each.
var steps = map[JobState][]JobState{
	Proposed:  {Approved, Withdrawn},
	Approved:  {InHand, Proposed, Withdrawn},
	InHand:    {Done, Approved, Withdrawn},
	Done:      {Checked, InHand},
	Checked:   {InHand},
	Withdrawn: {Proposed},
}

// NextStates lists the states that a job can go to from its own.
func (j *Job) NextStates() []JobState { return steps[j.State] }

// Step takes a job to another state. by is who does it; a step back, or out,
// needs a reason. A job is taken in hand once all its gates are cleared, is done
// when its completion says so, and is checked by somebody else than who did it.
func (j *Job) Step(to JobState, by, reason string) error {
	if !slices.Contains(JobStates, to) {
		return Errorf(Invalid, "job %d: there is no state %q: expected one of %v", j.ID, to, JobStates)
	}
	if !slices.Contains(steps[j.State], to) {
		return Errorf(Conflict, "job %d is %s and cannot become %s: expected %s", j.ID, j.State, to, orList(steps[j.State]))
	}
	if strings.TrimSpace(by) == "" {
		return Errorf(Invalid, "job %d: by is empty: say who takes it from %s to %s", j.ID, j.State, to)
	}
	if needsReason(j.State, to) && strings.TrimSpace(reason) == "" {
		return Errorf(Invalid, "job %d: reason is empty: say why it goes from %s to %s", j.ID, j.State, to)
	}
	if (to == Approved && j.State == Proposed || to == InHand && j.State == Approved) && !j.TreeStatus.Standing() {
		what := string(j.TreeStatus)
		if what == "" {
			what = "no longer in the inventory"
		}
		return Errorf(Conflict, "job %d: its tree, %s, is %s: withdraw the job", j.ID, j.Tag, what)
	}
	switch to {
	case InHand:
		if j.State == Approved {
			if err := j.gatesCleared(); err != nil {
				return err
			}
		}
	case Done:
		if j.Completion == nil {
			return Errorf(Invalid, "job %d: completion is missing: a job is done once the crew says on which day, by whom and which cuts were made", j.ID)
		}
	case Checked:
		if strings.EqualFold(strings.TrimSpace(by), strings.TrimSpace(j.Completion.By)) {
			return Errorf(Invalid, "job %d was done by %s: somebody else has to check it", j.ID, j.Completion.By)
		}
	}
	j.State = to
	return nil
}

// needsReason reports whether a step is one back, or out.
func needsReason(from, to JobState) bool {
	return to == Withdrawn || slices.Index(JobStates, to) < slices.Index(JobStates, from)
}

func (j *Job) gatesCleared() error {
	var open []string
	for _, g := range j.Gates {
		if !g.Cleared {
			open = append(open, g.Name)
		}
	}
	if len(open) > 0 {
		return Errorf(Conflict, "job %d cannot be taken in hand: not cleared yet: %s", j.ID, strings.Join(open, ", "))
	}
	return nil
}

// OpenGates is the number of gates that are not cleared.
func (j *Job) OpenGates() int {
	n := 0
	for _, g := range j.Gates {
		if !g.Cleared {
			n++
		}
	}
	return n
}

func orList[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return strings.Join(out, " or ")
}
