package profile

// WindShare is the mean over the week of what a week of hours carries times
// how windy each hour is against the mean: 1 where busy and windy hours have
// nothing to do with one another, or where the profile has no wind.
func (p *Profile) WindShare(w *Week) float64 {
	if p.Wind == nil {
		return 1
	}
	sum := 0.0
	for h, v := range w {
		sum += v * p.Wind[h]
	}
	return sum / HoursInWeek
}
