package api_test

import (
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"github.com/underbough/underbough/inventory/question"
)

// week is an answer of /hours.
type week struct {
	Site, Tag, Part, Note, Cautions string
	TimeZone                        string    `json:"time_zone"`
	Cut                             *int64    `json:"cut_id"`
	InOpen                          []float64 `json:"people_in_the_open"`
	InVehicles                      []float64 `json:"people_in_vehicles"`
	Sheltered                       []float64 `json:"people_sheltered"`
	Vehicles                        []float64 `json:"vehicles"`
	Peak                            struct {
		People float64
		Hour   int
		Name   string
	}
	Occupied float64 `json:"occupied_share"`
	Quietest *struct {
		Hour, Hours int
		Name, Until string
		PersonHours float64 `json:"person_hours"`
	}
	Links []link
}

func (w *week) persons(hour int) float64 { return w.InOpen[hour] + w.InVehicles[hour] }

func (s *service) week(t *testing.T, query string) week {
	t.Helper()
	r := s.get(t, "/hours?"+query)
	if r.status != 200 {
		t.Fatal(r.status, string(r.body))
	}
	return parse[week](t, r.body)
}

// withStreet adds a street along a row of trees, T87 among them, and a tree far
// from all others with nothing under it but a seat that has 4 people in the mean.
func (s *service) withStreet(t *testing.T) {
	s.exec(t, `INSERT INTO trees (client_id, site_id, tree_id, tag, crown_radius_m, height_m, geometry) VALUES (1, 1, 960, 'ALONE', 30, 9, ST_SetSRID(ST_MakePoint(25.4, 54.7), 4326));
		INSERT INTO targets (client_id, site_id, target_id, kind, people_present, geometry) VALUES (1, 1, 960, 'seating', 4, ST_SetSRID(ST_MakePoint(25.4, 54.7), 4326));
		INSERT INTO targets (client_id, site_id, target_id, kind, vehicles_per_day, geometry) VALUES (1, 1, 961, 'road', 9000, ST_GeomFromText('LINESTRING(25.2799 54.68036,25.2829 54.68036)', 4326))`)
}

func TestHours(t *testing.T) {
	s := serve(t, nil)
	s.withStreet(t)
	w := s.week(t, "tag=T66")
	if len(w.InOpen) != 168 || len(w.InVehicles) != 168 || len(w.Sheltered) != 168 || len(w.Vehicles) != 168 || w.TimeZone != "Europe/Vilnius" || w.Cautions == "" {
		t.Fatalf("%+v", w)
	}
	t.Run("the peak is the most of the hours, the first of several", func(t *testing.T) {
		at := 0
		for hour := range 168 {
			if w.persons(hour) > w.persons(at)*(1+1e-9) {
				at = hour
			}
		}
		if w.Peak.Hour != at || math.Abs(w.Peak.People-w.persons(at)) > 1e-4*w.Peak.People || w.Peak.People == 0 {
			t.Errorf("peak %+v, the hours say %v at %d", w.Peak, w.persons(at), at)
		}
	})
	t.Run("their mean is what the tree is ranked with", func(t *testing.T) {
		// The default profile's calendar has exceptions, which the mean holds and the
		// ordinary week does not; the seat alone has none.
		alone := s.week(t, "tag=ALONE&part=crown")
		sum := 0.0
		for hour := range 168 {
			sum += alone.persons(hour)
		}
		if math.Abs(sum/168-4) > 0.004 {
			t.Errorf("mean %v, 4 people are recorded as present", sum/168)
		}
		// 1 − e^(−N) hour by hour is at most that of the mean (Jensen).
		if alone.Occupied > 1-math.Exp(-4)+1e-9 || alone.Occupied <= 0.3 {
			t.Error(alone.Occupied)
		}
	})
	t.Run("as a table", func(t *testing.T) {
		r := s.get(t, "/hours?tag=T66&f=csv")
		rows, err := csv.NewReader(strings.NewReader(string(r.body))).ReadAll()
		if err != nil || len(rows) != 169 || r.header.Get("Content-Type") != "text/csv; charset=utf-8; header=present" {
			t.Fatal(err, len(rows), r.header)
		}
		for hour, row := range rows[1:] {
			if v, err := strconv.ParseFloat(row[2], 64); err != nil || v != w.InOpen[hour] || row[0] != fmt.Sprint(hour) || row[len(row)-1] != question.Caution {
				t.Fatal(hour, row)
			}
		}
	})
	t.Run("the quietest window is the one with the least of all", func(t *testing.T) {
		for _, c := range []struct {
			query  string
			hours  int
			within func(day, hour int) bool
		}{
			{"window=3", 3, func(int, int) bool { return true }},
			{"window=3&from=7&to=19", 3, func(_, hour int) bool { return hour >= 7 && hour < 19 }},
			{"window=4&from=7&to=19&days=mon,wed", 4, func(day, hour int) bool { return hour >= 7 && hour < 19 && (day == 0 || day == 2) }},
			{"window=4&from=20&to=6", 4, func(_, hour int) bool { return hour >= 20 || hour < 6 }},
			{"window=8&from=22&to=6&days=sun", 8, func(day, hour int) bool { return day == 6 && hour >= 22 || day == 0 && hour < 6 }},
			{"window=30&days=sat,sun", 30, func(day, _ int) bool { return day >= 5 }},
			{"window=168", 168, func(int, int) bool { return true }},
		} {
			w := s.week(t, "tag=T66&"+c.query)
			best, total := -1, math.Inf(1)
			for from := range 168 {
				sum, fits := 0.0, true
				for i := range c.hours {
					hour := (from + i) % 168
					fits = fits && c.within(hour/24, hour%24)
					sum += w.persons(hour)
				}
				if fits && sum < total*(1-1e-4) {
					best, total = from, sum
				}
			}
			got := w.Quietest
			if got == nil || got.Hours != c.hours || math.Abs(got.PersonHours-total) > 2e-4*total {
				t.Errorf("%s: %+v, the hours say %d with %v", c.query, got, best, total)
			}
		}
		if w.Quietest != nil {
			t.Error("a window that nobody asked for")
		}
	})
	t.Run("a limb of a topped tree", func(t *testing.T) {
		if w := s.week(t, "tag=T66&part=limb"); w.Part != "limb" || w.Cut == nil {
			t.Errorf("%s %v", w.Part, w.Cut)
		}
		if w := s.week(t, "tag=T66&part=whole+tree"); w.Part != "whole tree" || w.Cut != nil {
			t.Errorf("%s %v", w.Part, w.Cut)
		}
	})
	s.exec(t, `UPDATE trees SET tag = 'T68' WHERE tag = 'T70'`)
	for _, c := range []struct {
		query     string
		status    int
		parameter string
	}{
		{"", 400, "tag"}, {"tag=T66&part=root", 400, "part"}, {"tag=T65&part=limb", 404, "part"}, {"tag=nobody", 404, "tag"}, {"tag=T68", 400, "tag"}, {"tag=%00", 400, "tag"}, {"tag=%ff", 400, "tag"},
		{"tag=T66&window=0", 400, "window"}, {"tag=T66&window=169", 400, "window"}, {"tag=T66&window=1.5", 400, "window"}, {"tag=T66&window=5&from=8&to=12", 400, "window"},
		{"tag=T66&from=8", 400, "from"}, {"tag=T66&days=mon", 400, "days"}, {"tag=T66&window=2&days=lundi", 400, "days"}, {"tag=T66&window=2&from=24", 400, "from"},
		{"tag=T66&window=2&from=9&to=9", 400, "to"}, {"tag=T66&window=2&to=0", 400, "to"}, {"tag=T66&window=2&to=25", 400, "to"},
		{"tag=T66&site=Nowhere", 400, "site"}, {"tag=T66&tag=T65", 400, "tag"}, {"tag=T66&f=geojson", 400, "f"},
	} {
		for _, path := range []string{"/hours?", "/hours.svg?"} {
			r := s.get(t, path+c.query)
			if p := parse[map[string]any](t, r.body); r.status != c.status || p["parameter"] != c.parameter || r.header.Get("ETag") != "" {
				t.Errorf("%s%s: %d %s", path, c.query, r.status, r.body)
			}
		}
	}
}

// bars gathers what a chart draws, by class and hour of the week.
type bars struct {
	title, desc string
	height      map[string]map[int]float64
	marks       map[string][]int
}

// readChart goes through all of a chart, which must be well-formed.
func readChart(t *testing.T, body []byte) bars {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(string(body)))
	b := bars{height: map[string]map[int]float64{"open": {}, "driven": {}}, marks: map[string][]int{}}
	attribute := func(e xml.StartElement, name string) string {
		for _, a := range e.Attr {
			if a.Name.Local == name {
				return a.Value
			}
		}
		return ""
	}
	group, depth := -1, 0
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			depth++
			if e.Name.Space != "http://www.w3.org/2000/svg" {
				t.Errorf("<%s> is not of SVG", e.Name.Local)
			}
			hour, err := strconv.Atoi(attribute(e, "data-hour"))
			class := attribute(e, "class")
			switch {
			case depth == 2 && e.Name.Local == "title":
				d.DecodeElement(&b.title, &e)
				depth--
			case depth == 2 && e.Name.Local == "desc":
				d.DecodeElement(&b.desc, &e)
				depth--
			case e.Name.Local == "g":
				group = hour
			case err == nil:
				b.marks[class] = append(b.marks[class], hour)
				if n, err := strconv.Atoi(attribute(e, "data-hours")); err == nil {
					for i := 1; i < n; i++ {
						b.marks[class] = append(b.marks[class], hour+i)
					}
				}
			case e.Name.Local == "rect" && b.height[class] != nil:
				if b.height[class][group], err = strconv.ParseFloat(attribute(e, "height"), 64); err != nil {
					t.Error(err)
				}
			}
		case xml.EndElement:
			depth--
		}
	}
	return b
}

func TestHoursChart(t *testing.T) {
	s := serve(t, nil)
	s.withStreet(t)
	s.exec(t, `UPDATE trees SET tag = '<b>&"x"]]>' WHERE tag = 'T69'; UPDATE trees SET tag = repeat('long ', 30) WHERE tag = 'T72'`)
	for _, tag := range []string{"T66", "T87", "T12", "T1", "ALONE", "%3Cb%3E%26%22x%22%5D%5D%3E", strings.Repeat("long+", 29) + "long+"} {
		t.Run(tag, func(t *testing.T) {
			query := "tag=" + tag + "&window=6&days=sat,sun,mon"
			w := s.week(t, query)
			r := s.get(t, "/hours.svg?"+query)
			if r.status != 200 || r.header.Get("Content-Type") != "image/svg+xml" || r.header.Get("ETag") == "" || !strings.Contains(r.header.Get("Content-Security-Policy"), "default-src 'none'") {
				t.Fatal(r.status, r.header, string(r.body))
			}
			b := readChart(t, r.body)
			if !strings.Contains(b.title, w.Tag) || !strings.Contains(b.desc, w.Peak.Name) || !strings.Contains(b.desc, "arborist") {
				t.Errorf("title %q, desc %q", b.title, b.desc)
			}
			// All bars have one scale, and 29 units hold the peak at least and not more
			// than a third above it.
			scale := b.height["open"][w.Peak.Hour] + b.height["driven"][w.Peak.Hour]
			if w.Peak.People > 0 && (scale > 29.001 || scale < 29/1.34) {
				t.Errorf("the peak is %v high", scale)
			}
			for hour := range 168 {
				for class, n := range map[string]float64{"open": w.InOpen[hour], "driven": w.InVehicles[hour]} {
					want := 0.0
					if w.Peak.People > 0 {
						want = n / w.Peak.People * scale
					}
					if got := b.height[class][hour]; math.Abs(got-want) > 0.003+1e-4*want {
						t.Errorf("%s at %d is %v high, want %v", class, hour, got, want)
					}
				}
			}
			if tag == "T87" && b.height["driven"][w.Peak.Hour] == 0 {
				t.Error("nobody drives on the street")
			}
			quiet := map[int]bool{}
			for _, hour := range b.marks["quiet"] {
				quiet[hour] = true
			}
			if len(quiet) != 6 || len(b.marks["quiet"]) != 6 {
				t.Error("quietest hours marked:", b.marks["quiet"])
			}
			for i := range 6 {
				if !quiet[(w.Quietest.Hour+i)%168] {
					t.Errorf("%d is not marked, the window begins at %d", w.Quietest.Hour+i, w.Quietest.Hour)
				}
			}
			if w.Peak.People > 0 && fmt.Sprint(b.marks["peak"]) != fmt.Sprintf("[%d]", w.Peak.Hour) {
				t.Error("peak marked:", b.marks["peak"])
			}
		})
	}
}

// TestHoursChartSeen looks at the chart in Chromium: no text leaves the picture or
// lies on another, and a picture is kept for eyes.
func TestHoursChartSeen(t *testing.T) {
	s := serve(t, nil)
	s.withStreet(t)
	ctx, b := open(t)
	for _, c := range []struct {
		name   string
		width  int64
		scheme string
		query  string
	}{
		{"small light", 400, "light", "tag=T66&window=6&from=7&to=19"},
		{"small dark", 400, "dark", "tag=T66&part=limb&window=6"},
		{"large light", 800, "light", "tag=T66&window=6&from=7&to=19"},
		{"large dark", 800, "dark", "tag=T12&window=3"},
		{"street light", 400, "light", "tag=T87&window=30"},
		{"street dark", 800, "dark", "tag=T87&window=30"},
		{"nobody", 400, "light", "tag=T1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			do(t, ctx,
				chromedp.EmulateViewport(c.width, c.width),
				call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: c.scheme}}}),
				chromedp.Navigate(s.web.URL+"/hours.svg?"+c.query),
				// The picture is as wide as the window, as where a page shows it.
				until(`(() => { const s = document.documentElement; s.setAttribute('width', innerWidth); s.removeAttribute('height'); return s.getBoundingClientRect().width > 0 })()`))
			trouble := value[[]string](t, ctx, `(() => {
				const all = document.documentElement.getBoundingClientRect(), said = []
				const boxes = [...document.querySelectorAll('text')].map((e) => [e.textContent, e.getBoundingClientRect()])
				for (const [text, box] of boxes) {
					if (box.left < all.left || box.right > all.right || box.top < all.top || box.bottom > all.bottom) said.push(text + ' leaves the picture')
					for (const [other, b] of boxes) if (other > text && box.left < b.right && b.left < box.right && box.top + 1 < b.bottom && b.top + 1 < box.bottom) said.push(text + ' lies on ' + other)
				}
				if (getComputedStyle(document.querySelector('.name')).fontWeight !== '700') said.push('the style is not used')
				return said })()`)
			if len(trouble) > 0 {
				t.Error(trouble)
			}
			keep(t, ctx, "hours "+c.name)
		})
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		t.Errorf("the page says: %s", line)
	}
}
