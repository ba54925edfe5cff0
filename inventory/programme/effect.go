package programme

// What a visit is taken to do, exactly. Visits are spread evenly over their
// year, which comes to the same as all of them at the middle of it. From there on
// a visit takes TakesOff of what is left then, and it lasts for Lasts years, to
// the middle of the year that many years later, when all that was taken off comes
// back at once; a further visit of the same work by then renews what the earlier
// ones did and takes off its share of the rest. So one visit in year y counts for
// half of year y, all of the Lasts-1 years after and half of year y+Lasts. This is
// the client's assumption (practice.Effect), no measurement.

// Left returns, for each of so many years, the mean share of harm that is left
// when the first visit is in year start. A start outside the years leaves all.
func Left(visits []PlannedVisit, start, lasts, years int) []float64 {
	left := make([]float64, years)
	leftInto(left, visits, start, lasts)
	return left
}

func leftInto(left []float64, visits []PlannedVisit, start, lasts int) {
	next, share, ends := 0, 1.0, -1
	if start < 0 {
		next = len(visits)
	}
	for y := range left {
		first := share // of the first half of the year
		if next < len(visits) && start+visits[next].After == y {
			share *= 1 - visits[next].TakesOff
			ends = y + lasts
			next++
		} else if y >= ends {
			share = 1
		}
		left[y] = (first + share) / 2
	}
}

// TakenOff returns the harm that a candidate's work takes off over the years of
// the programme when its first visit is in year start, in the unit of its harm.
func (p *Problem) TakenOff(i, start int) float64 {
	var years [MaxYears]float64
	return p.takenOff(i, start, years[:p.Years])
}

func (p *Problem) takenOff(i, start int, left []float64) float64 {
	c := &p.Candidates[i]
	leftInto(left, c.Visits, start, p.Lasts)
	off := 0.0
	for _, s := range left {
		off += 1 - s
	}
	return off * c.Harm
}
