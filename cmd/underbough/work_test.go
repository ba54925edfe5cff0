package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/practice"
)

// grove loads a few trees along a street, one of them topped over the walk.
func grove(t *testing.T) shell {
	t.Helper()
	s := onDatabase(t)
	// Work is recorded today, whatever day that is: no window closes here.
	s.write("open.yaml", strings.NewReplacer("name: default", "name: open", "- {name: ", "- {open: true, name: ").Replace(string(practice.DefaultText())))
	s.env = append(s.env, "UNDERBOUGH_PRACTICE="+filepath.Join(s.dir, "open.yaml"))
	s.write("trees.csv", `tag,lon,lat,species,dbh_cm,height_m,crown_radius_m,condition
A1,8.5000,47.3000,Tilia cordata,42,14,5,fair
A2,8.5002,47.3000,Quercus robur,55,16,6,good
A3,8.5004,47.3000,Acer platanoides,12,6,2,good
A4,8.5006,47.3000,Tilia cordata,40,12,5,dead
`)
	s.write("cuts.csv", `tree_tag,kind,made_year,diameter_cm,height_m,bearing,reach_m,regrowth_length_m,regrowth_count,count
A1,topping,2012,14,8,90,1.5,3.5,9,3
`)
	s.write("walk.geojson", `{"type":"FeatureCollection","features":[
{"type":"Feature","id":1,"properties":{"name":"Elm Walk","people_per_hour":60},"geometry":{"type":"LineString","coordinates":[[8.4999,47.30001],[8.5007,47.30001]]}}]}`)
	s.write("road.geojson", `{"type":"FeatureCollection","features":[
{"type":"Feature","id":1,"properties":{"name":"Elm Street"},"geometry":{"type":"LineString","coordinates":[[8.4999,47.30010],[8.5007,47.30010]]}}]}`)
	s.ok("import", "trees.csv", "--site", "grove", "--as", "trees", "--time-zone", "Europe/Zurich")
	s.ok("import", "cuts.csv", "--site", "grove", "--as", "cuts")
	s.ok("import", "walk.geojson", "--site", "grove", "--as", "targets", "--kind", "walkway")
	s.ok("import", "road.geojson", "--site", "grove", "--as", "targets", "--kind", "road")
	return s
}

// fails runs the program, which must refuse with what the user can mend, and
// returns what it says.
func (s shell) fails(args ...string) string {
	s.t.Helper()
	a := s.run(args...)
	if a.status != 2 {
		s.t.Fatalf("%s: status %d, expected 2\n%s%s", strings.Join(args, " "), a.status, a.stdout, a.stderr)
	}
	return a.stderr
}

// jobOf is the number of a tree's first job.
func jobOf(t *testing.T, s shell, tag string) string {
	t.Helper()
	for _, j := range jobs(t, s) {
		if j.Tag == tag && j.Visit == 1 {
			return strconv.Itoa(j.ID)
		}
	}
	t.Fatalf("tree %s has no job", tag)
	return ""
}

type jobRow struct {
	ID    int `json:"job_id"`
	Tag   string
	Visit int
	Gates []struct {
		Name    string
		Cleared bool
	}
}

func jobs(t *testing.T, s shell) (list []jobRow) {
	t.Helper()
	if err := json.Unmarshal([]byte(s.ok("jobs", "list", "--format", "json")), &list); err != nil {
		t.Fatal(err)
	}
	return list
}

// stubOf is the cut that a job's stub stands as on the tree's record.
func stubOf(t *testing.T, s shell, job string) string {
	t.Helper()
	var d struct {
		Completion struct {
			Cuts []struct {
				Kind     string
				Stub     float64 `json:"stub_length_m"`
				Recorded int
			}
		}
	}
	if err := json.Unmarshal([]byte(s.ok("jobs", "show", job, "--format", "json")), &d); err != nil {
		t.Fatal(err)
	}
	for _, c := range d.Completion.Cuts {
		if c.Stub > 0 {
			return strconv.Itoa(c.Recorded)
		}
	}
	t.Fatal("no stub is recorded")
	return ""
}

func openGates(t *testing.T, s shell, job string) (names []string) {
	t.Helper()
	for _, j := range jobs(t, s) {
		for _, g := range j.Gates {
			if strconv.Itoa(j.ID) == job && !g.Cleared {
				names = append(names, g.Name)
			}
		}
	}
	return names
}

func has(t *testing.T, out string, wants ...string) {
	t.Helper()
	for _, want := range wants {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in:\n%s", want, out)
		}
	}
}

// A tree goes from its specification through a programme to work that was checked.
func TestFromRankingToWork(t *testing.T) {
	s := grove(t)
	has(t, s.ok("specify", "A1"), "A1, Tilia cordata: restoration", "Visit 4", "No topping", "UF/IFAS", "crew-hours", "promises nothing")
	has(t, s.ok("specify", "A4"), "second opinion")
	has(t, s.fails("specify", "A1", "--dose", "1=0.3"), "dose cap", "give a reason")
	has(t, s.ok("specify", "A1", "--dose", "1=0.3", "--reason", "split limb", "--by", "Arborist"), "gone against dose cap by Arborist", "split limb")

	out := s.ok("programme", "make", "--name", "plan", "--budget", "2000", "--years", "3", "--must-by", "2", "--must", "A1")
	has(t, out, "Programme 1, plan", "worst first", "flat 5 years", "Elm Street", "Every tree every so many years")
	var d struct {
		Gap   float64 `json:"gap_share"`
		Exact bool
		Items []struct {
			Tag   string
			First int `json:"first_year"`
		}
	}
	if err := json.Unmarshal([]byte(s.ok("programme", "show", "1", "--format", "json")), &d); err != nil {
		t.Fatal(err)
	}
	if !d.Exact || d.Gap != 0 || len(d.Items) != 4 {
		t.Errorf("%+v", d)
	}
	year := ""
	for _, item := range d.Items {
		if item.Tag == "A1" {
			year = strconv.Itoa(item.First)
		}
	}
	has(t, s.ok("programme", "propose", "1"), "proposed by programme 1")
	has(t, s.fails("programme", "propose", "1"), "were made on")
	has(t, s.ok("jobs", "list"), "Elm Street", "restoration")
	job := jobOf(t, s, "A1")
	has(t, s.fails("jobs", "take", job, "--by", "Crew"), "cannot become in hand")
	has(t, s.ok("jobs", "approve", "--year", year, "--package", "Elm Street", "--by", "Owner"), "approved")
	has(t, s.fails("jobs", "take", job, "--by", "Crew"), "not cleared yet: permit")
	s.ok("jobs", "clear", "permit", job, "--reference", "P-1", "--by", "Office")
	for _, g := range openGates(t, s, job) {
		s.ok("jobs", "clear", g, job, "--by", "Office", "--reference", "none needed")
	}
	s.ok("jobs", "take", job, "--by", "Crew")
	has(t, s.fails("jobs", "done", job, "--by", "Crew", "--cut", "chop diameter=4"), "kind of cut")
	out = s.ok("jobs", "done", job, "--by", "Crew", "--cut", "removal diameter=6 stub=20", "--cut", "reduction diameter=6 lateral=3 on=1 left=2.0", "--dose", "0.04")
	has(t, out, "Defect, cut 1: a stub of 20.0 cm", "computed again")
	has(t, s.fails("jobs", "check", job, "--accept", "--by", "Inspector"), "1 defects")
	has(t, s.fails("jobs", "check", job, "--accept", "--by", "crew", "--reason", "seen"), "somebody else")
	has(t, s.ok("jobs", "check", job, "--by", "Inspector", "--reason", "stub left"), "goes back")
	has(t, s.ok("jobs", "show", job), "a stub of 20.0 cm", "1 defect stands")
	s.ok("jobs", "done", job, "--by", "Crew", "--cut", "removal diameter=6 on="+stubOf(t, s, job)+" gone", "--dose", "0.01")
	has(t, s.ok("jobs", "check", job, "--accept", "--by", "Inspector", "--limb", "possible"), "checked and closed")
	has(t, s.ok("jobs", "show", job), "checked by Inspector", "stub left", "settled by Office")
	has(t, s.ok("jobs", "effect"), "1 job done", "promises nothing")
	has(t, s.ok("specify", "A1"), "1 of 4 visits made")
	has(t, s.ok("due", "--until", "2199-01-01"), "A1")
	has(t, s.ok("appraise", "A2", "--nursery-cost", "200", "--nursery-diameter", "7.62", "--diameter", "76.2", "--health", "0.8", "--structure", "0.8", "--form", "0.8",
		"--functional", "0.75", "--external", "1", "--by", "Appraiser"), "12000 units of money") // METHOD TV-TFT
	has(t, s.fails("appraise", "A2", "--nursery-cost", "200", "--nursery-diameter", "7.62", "--health", "1.8", "--structure", "0.8", "--form", "0.8", "--functional", "0.75", "--external", "1"), "health")
}

// Sheets and the report are whole files, and say what keeps them from being made.
func TestPapers(t *testing.T) {
	s := grove(t)
	has(t, s.fails("crew-sheet", "--year", "2030", "--package", "Elm Street", "--out", "crew.html"), "no jobs to do")
	s.ok("jobs", "add", "A1", "--by", "Owner", "--year", strconv.Itoa(time.Now().Year()))
	has(t, s.fails("crew-sheet", "--year", strconv.Itoa(time.Now().Year()), "--package", "Elm", "--out", "crew.html"), `"Elm Street"`)
	s.ok("crew-sheet", "--year", strconv.Itoa(time.Now().Year()), "--package", "Elm Street", "--out", "crew.html")
	s.ok("bid-sheet", "--out", "bid.xlsx")
	s.ok("bid-sheet", "--out", "bid.csv")
	has(t, s.fails("bid-sheet", "--out", "bid.txt"), ".xlsx or .csv")
	s.ok("report", "--out", "report.html", "--notes", "Our own words.")
	s.ok("report", "--out", "report.pdf")
	for name, begins := range map[string]string{"crew.html": "<!", "bid.xlsx": "PK", "bid.csv": "year,", "report.html": "<!", "report.pdf": "%PDF"} {
		b, err := os.ReadFile(filepath.Join(s.dir, name))
		if err != nil || !strings.HasPrefix(strings.ToLower(string(b)), strings.ToLower(begins)) {
			t.Errorf("%s: %.20q (%v)", name, b, err)
		}
	}
	report, _ := os.ReadFile(filepath.Join(s.dir, "report.html"))
	has(t, string(report), "Our own words.", "A1", "grove", "qualified arborist")
	if left, _ := filepath.Glob(filepath.Join(s.dir, ".*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// METHOD TV-CUT (15 on 60 is a heading cut), and 5.5: shortened by 30 % the wind's
// moment is 0.343 of before.
func TestReduceCommand(t *testing.T) {
	s := shell{t: t, dir: t.TempDir()}
	has(t, s.ok("reduce", "--length", "10", "--base", "20", "--lateral", "4", "--at", "5", "--limb", "6", "--reaching", "2"), "reduction: the lateral is 0.67", "34 % of before")
	has(t, s.ok("reduce", "--length", "10", "--base", "20", "--lateral", "1.5", "--at", "5", "--limb", "6"), "heading", "choose a larger lateral")
	has(t, s.fails("reduce", "--length", "-1", "--base", "20", "--lateral", "4", "--at", "5"), "length")
}

func TestPracticeCommand(t *testing.T) {
	s := shell{t: t, dir: t.TempDir()}
	text := s.ok("practice")
	has(t, text, "local rules decide", "oak wilt")
	s.write("mine.yaml", strings.Replace(text, "name: default", "name: mine", 1))
	has(t, s.ok("practice", "check", "mine.yaml"), `practice "mine"`, "0 of them opened")
	s.write("bad.yaml", strings.Replace(text, "young: {value: 0.25", "young: {value: 25", 1))
	has(t, s.fails("practice", "check", "bad.yaml"), "line", "pruning.dose.young")
}
