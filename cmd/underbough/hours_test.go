package main

import (
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
)

func TestParseDays(t *testing.T) {
	for _, c := range []struct {
		text string
		want []int
	}{
		{"mon-fri", []int{0, 1, 2, 3, 4}}, {"sat,sun", []int{5, 6}}, {"Fri-Mon", []int{4, 5, 6, 0}}, {"wed", []int{2}}, {"mon, wed-thu", []int{0, 2, 3}}, {"", nil},
	} {
		if got, err := parseDays(c.text); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%q: %v, %v; expected %v", c.text, got, err, c.want)
		}
	}
	for _, text := range []string{"mon-", "day", "mon/tue"} {
		if got, err := parseDays(text); err == nil {
			t.Errorf("%q: %v", text, got)
		}
	}
}

// POSIX.1-2017, 8.2: LC_ALL goes before LC_CTYPE and that before LANG; a
// variable that is empty counts as missing, and without any the locale is POSIX.
func TestBlocksForLocale(t *testing.T) {
	for _, c := range []struct {
		env  map[string]string
		want blocks
	}{
		{nil, plainSigns},
		{map[string]string{"LANG": "en_US.UTF-8"}, blockSigns},
		{map[string]string{"LANG": "C.utf8"}, blockSigns},
		{map[string]string{"LANG": "en_US.UTF-8", "LC_ALL": "C"}, plainSigns},
		{map[string]string{"LANG": "C", "LC_CTYPE": "de_CH.UTF-8"}, blockSigns},
		{map[string]string{"LC_ALL": "", "LANG": "fr_FR.UTF-8"}, blockSigns},
		{map[string]string{"LANG": "de_DE.ISO-8859-1"}, plainSigns},
	} {
		if got := blocksFor(func(name string) string { return c.env[name] }); string(got) != string(c.want) {
			t.Errorf("%v: %s", c.env, string(got))
		}
	}
}

func TestSigns(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want rune
	}{{0, '·'}, {1e-9, '▁'}, {0.125, '▁'}, {0.126, '▂'}, {0.5, '▄'}, {0.51, '▅'}, {0.999, '█'}, {1, '█'}, {1.0000000001, '█'}} {
		if got := blockSigns.sign(c.v, 1); got != c.want {
			t.Errorf("%v of 1: %c, expected %c", c.v, got, c.want)
		}
	}
	if got := blockSigns.sign(0, 0); got != '·' {
		t.Errorf("nobody at all: %c", got)
	}
}

// The parking under T1 keeps the hours of shops: each hour is the mean times the
// profile's week.
func TestHours(t *testing.T) {
	s := onDatabase(t)
	load(s)
	var k struct {
		Part      string
		Mean      float64 `json:"mean_people"`
		Peak      float64 `json:"peak_people"`
		PeakHour  int     `json:"peak_hour"`
		People    []float64
		InV       []float64 `json:"people_in_vehicles"`
		Sheltered []float64 `json:"people_sheltered"`
		Vehicles  []float64
		Occupied  float64 `json:"occupied_share"`
		Quietest  struct {
			Start  int     `json:"start_hour"`
			Length int     `json:"length_hours"`
			Hours  float64 `json:"person_hours"`
		}
		Cautions string
	}
	fromJSON(t, s.ok("hours", "T1", "--part", "crown", "--window", "3", "--from", "8", "--to", "18", "--days", "mon-sat", "--format", "json"), &k)
	week := profile.Default().Weeks["shopping"]
	if len(k.People) != 168 || len(k.InV) != 168 || len(k.Sheltered) != 168 || len(k.Vehicles) != 168 || k.Part != "crown" || k.Cautions != cautions || k.Mean == 0 {
		t.Fatalf("%+v", k)
	}
	occupied, peak, peakHour := 0.0, 0.0, 0
	for hour, v := range k.People {
		n := v + k.InV[hour]
		if math.Abs(n-k.Mean*week[hour]) > 1e-4*k.Mean*week[hour] {
			t.Errorf("hour %d: %v, by the profile's week %v", hour, n, k.Mean*week[hour])
		}
		if occupied += (1 - math.Exp(-n)) / 168; n > peak {
			peak, peakHour = n, hour
		}
	}
	if !close5(peak, k.Peak) || peakHour != k.PeakHour || !close5(occupied, k.Occupied) {
		t.Errorf("peak %v at %d, occupied %v by hand; %+v", peak, peakHour, occupied, k)
	}
	start, least := -1, math.Inf(1)
	for day := range 6 {
		for hour := 8; hour+3 <= 18; hour++ {
			sum := 0.0
			for i := range 3 {
				sum += k.People[day*24+hour+i] + k.InV[day*24+hour+i]
			}
			if sum < least-1e-9 {
				start, least = day*24+hour, sum
			}
		}
	}
	if k.Quietest.Start != start || k.Quietest.Length != 3 || !close5(k.Quietest.Hours, least) {
		t.Errorf("quietest %+v, by hand %v from %d", k.Quietest, least, start)
	}
	records, err := csv.NewReader(strings.NewReader(s.ok("hours", "T1", "--part", "crown", "--format", "csv"))).ReadAll()
	if err != nil || len(records) != 169 || records[1][1] != "Mon 00:00" || records[168][1] != "Sun 23:00" || records[168][6] != question.Caution {
		t.Fatalf("%d rows, %v", len(records), err)
	}
	if v, err := strconv.ParseFloat(records[1+k.PeakHour][2], 64); err != nil || v != k.People[k.PeakHour] {
		t.Errorf("%v in CSV, %v in JSON", records[1+k.PeakHour], k.People[k.PeakHour])
	}
	s.env = append(s.env, "LC_ALL=C.UTF-8")
	chart := s.ok("hours", "T1", "--part", "crown")
	// The profile's figures for shops, up to 18 on Saturdays, as eighths rounded
	// up: 1 and 2 are one eighth, 5 is three, 15 is seven.
	for _, want := range []string{"\nWed  ······▁▁▃▄▅▆▆▅▅▆▇▇▆▄▂▁··", "\nSun  ·······▁▁▁▂▂▂▂▁▁▁▁▁·····"} {
		if !strings.Contains(chart, want) {
			t.Errorf("%q is not in\n%s", want, chart)
		}
	}
	if alone := s.ok("hours", "T4"); !strings.Contains(alone, "\nSun  ························") || !strings.Contains(alone, "Nobody is there in any hour") {
		t.Errorf("over nothing:\n%s", alone)
	}
	s.env[len(s.env)-1] = "LC_ALL=C"
	if plain := s.ok("hours", "T1"); !strings.Contains(plain, "\nSun  .......11122221111") || strings.ContainsAny(plain, "▁█·") {
		t.Errorf("without block characters:\n%s", plain)
	}
}
