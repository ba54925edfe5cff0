package risk

import (
	"fmt"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// Use is what a part would land on, in the figures that ratings go by.
type Use struct {
	Occupied float64 // share of hours with at least one person in the open or in a vehicle
	Busiest  float64 // the chance of at least one in the busiest hour
	Vehicles float64 // share of hours with at least one vehicle
	Count    exposure.Count
	Heavy    bool // the part is big enough to do the worst
}

// Ratings is one part by the two matrices. People and property are rated apart.
type Ratings struct {
	Rating   Rating // the higher of People and Property
	People   Rating // by the mean over the hours
	Property Rating
	Busiest  Rating // of people, by the busiest hour
}

// RatingsOf rates a part by the qualitative method.
func RatingsOf(l inventory.Likelihood, u *Use, o profile.Occupancy) Ratings {
	consequence := PeopleConsequence(u.Count, u.Heavy)
	r := Ratings{
		People:   Rate(Combine(l, ImpactOf(u.Occupied, o)), consequence),
		Busiest:  Rate(Combine(l, ImpactOf(u.Busiest, o)), consequence),
		Property: Rate(Combine(l, ImpactOf(u.Vehicles, o)), PropertyConsequence(u.Count)),
	}
	r.Rating = max(r.People, r.Property)
	return r
}

// Grade is a rating by either method, as it is stored and ordered by: 0 low to 3
// extreme by the matrices, and 16 + the total by points. Grades of two methods
// do not compare.
type Grade uint8

const pointsFrom Grade = 16

// GradeOfPoints returns the grade of a total of points.
func GradeOfPoints(total uint8) Grade { return pointsFrom + Grade(total) }

func (g Grade) String() string {
	switch {
	case g >= pointsFrom:
		return PointsWord(uint8(g - pointsFrom))
	case int(g) < len(ratingWords):
		return ratingWords[g]
	}
	return fmt.Sprintf("rating %d", uint8(g))
}

// Score is a part's grades: people and property apart, the higher of the two,
// and people by the busiest hour.
type Score struct{ Rating, People, Property, Busiest Grade }

// Max is the higher of two scores in each respect.
func (s Score) Max(t Score) Score {
	return Score{max(s.Rating, t.Rating), max(s.People, t.People), max(s.Property, t.Property), max(s.Busiest, t.Busiest)}
}

// Score rates a part by the profile's method. c is the limb's cut and nil for
// the other parts; visits are in order of their day.
func (s *Screener) Score(j Judgement, t *inventory.Tree, c *inventory.Cut, visits []inventory.Visit, u *Use) Score {
	if s.rating.Method == profile.Points {
		p := s.PointsOf(j, t, c, visits, u)
		return Score{Rating: GradeOfPoints(p.Rating().Total()), People: GradeOfPoints(p.People.Total()),
			Property: GradeOfPoints(p.Property.Total()), Busiest: GradeOfPoints(p.Busiest.Total())}
	}
	r := RatingsOf(j.Likelihood, u, s.occupancy)
	return Score{Rating: Grade(r.Rating), People: Grade(r.People), Property: Grade(r.Property), Busiest: Grade(r.Busiest)}
}
