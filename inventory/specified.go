package inventory

import (
	"encoding/json"
	"time"
)

// KeptSpecification is what was specified for a tree, as it was kept.
type KeptSpecification struct {
	ID       SpecificationID
	Tree     TreeID
	Body     json.RawMessage // a pruning.Specification
	ByPerson bool            // changed by a person: rules do not make it anew
	MadeAt   time.Time
	MadeBy   string
}

// KeptAppraisal is what a tree was appraised at, as it was kept.
type KeptAppraisal struct {
	ID     int64
	Tree   TreeID
	Body   json.RawMessage // an appraisal.Appraisal
	Value  float64
	MadeAt time.Time
	MadeBy string
}
