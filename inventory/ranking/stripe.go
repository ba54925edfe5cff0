package ranking

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// Stripe is a part of a site small enough to keep its targets in memory. Add
// its targets, then ask for one assessor a goroutine.
type Stripe struct {
	profile *profile.Profile
	asOf    time.Time
	builder *exposure.FieldBuilder
	field   *exposure.Field
}

// NewStripe starts a stripe under a profile, as of a day.
func NewStripe(p *profile.Profile, asOf time.Time) *Stripe {
	return &Stripe{profile: p, asOf: asOf, builder: exposure.NewFieldBuilder(p)}
}

// Add adds a target.
func (s *Stripe) Add(t inventory.Target) error { return s.builder.Add(t) }

// Build finishes the targets.
func (s *Stripe) Build() { s.field = s.builder.Build() }

// Targets returns the number of targets.
func (s *Stripe) Targets() int { return s.field.Len() }

// NewAssessor returns an assessor over the stripe's targets.
func (s *Stripe) NewAssessor() *Assessor { return NewAssessor(s.field, s.profile, s.asOf) }
