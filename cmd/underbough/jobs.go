package main

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type jobsCmd struct {
	List     jobsList     `cmd:"" help:"List the jobs by year and package."`
	Show     jobsShow     `cmd:"" help:"Show a job with its specification, gates, steps and photos."`
	Add      jobsAdd      `cmd:"" help:"Make one job by hand: a visit of a tree's specification."`
	Approve  jobsApprove  `cmd:"" help:"Agree to jobs, one by one or a package of a year."`
	Clear    jobsClear    `cmd:"" help:"Settle a gate of jobs: a permit, line clearance, a nest survey."`
	Take     jobsTake     `cmd:"" help:"Take jobs in hand; all gates must be settled."`
	Done     jobsDone     `cmd:"" help:"Record what was cut. Cuts are classed at once; a stub or a heading cut comes back as a defect."`
	Check    jobsCheck    `cmd:"" help:"Close a job that was done, or send it back."`
	Return   jobsReturn   `cmd:"" help:"Take jobs a step back, with the reason."`
	Withdraw jobsWithdraw `cmd:"" help:"Give jobs up or put them off, with the reason."`
	Urgent   jobsUrgent   `cmd:"" help:"Say that a job is about a hazard that cannot wait for windows."`
	Photo    jobsPhoto    `cmd:"" help:"Add pictures to a job."`
	Effect   jobsEffect   `cmd:"" help:"Show the harm that work took off: predicted, and computed again afterwards."`
}

type jobsList struct {
	Site    string `help:"Only of this site." placeholder:"NAME"`
	State   string `help:"Only jobs in these states, such as proposed,approved." placeholder:"STATES"`
	Year    int    `help:"Only of this year."`
	Package string `help:"Only of this street or area." placeholder:"NAME"`
	Limit   int    `default:"50" help:"How many to list; 0 lists all."`
	Format  string `default:"table" enum:"table,json,csv" help:"table, json or csv."`
}

func parseStates(text string) ([]inventory.JobState, error) {
	var out []inventory.JobState
	for _, w := range splitList(text) {
		if !slices.Contains(inventory.JobStates, inventory.JobState(w)) {
			return nil, inventory.Errorf(inventory.Invalid, "--state %s: there is no state %q: expected some of %v", text, w, inventory.JobStates)
		}
		out = append(out, inventory.JobState(w))
	}
	return out, nil
}

// Run lists jobs.
func (l *jobsList) Run(c *cli) error {
	states, err := parseStates(l.State)
	if err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	q := inventory.JobQuery{Client: s.client, States: states, Year: l.Year, Package: l.Package}
	names, err := siteNames(c, s)
	if err != nil {
		return err
	}
	if q.Site, err = s.siteNamed(c.ctx, l.Site); err != nil {
		return err
	}
	list, err := s.FindJobs(c.ctx, q)
	if err != nil {
		return err
	}
	all := len(list)
	if l.Format == "table" && l.Limit > 0 && len(list) > l.Limit {
		list = list[:l.Limit]
	}
	switch l.Format {
	case "json":
		out := make([]*question.JobDocument, len(list))
		for i := range list {
			out[i] = question.JobDocumentOf(&list[i], names[list[i].Site], nil, nil)
		}
		return encode(c.stdout, out)
	case "csv":
		return jobListing(list, names).write(c.stdout, c.stderr, "csv")
	}
	if all == 0 {
		_, err := fmt.Fprintln(c.stdout, "No job answers to that.")
		return err
	}
	t := &table{columns: []column{
		{title: "job", right: true}, {title: "year"}, {title: "package", least: 12}, {title: "tree"}, {title: "work"}, {title: "visit", right: true}, {title: "state"},
		{title: "gates open", right: true, spare: 2}, {title: "crew-hours", right: true}, {title: "cost", right: true, spare: 1}, {title: "defects", right: true},
	}}
	for i := range list {
		j := &list[i]
		defects := ""
		if j.Completion != nil && len(j.Completion.Defects) > 0 {
			defects = strconv.Itoa(len(j.Completion.Defects))
		}
		t.add("", fmt.Sprint(j.ID), strconv.Itoa(j.Year), j.Package, j.Tag, j.Work, strconv.Itoa(j.Visit), string(j.State), strconv.Itoa(j.OpenGates()), fmt.Sprintf("%.2f", j.Hours), fmt.Sprintf("%.0f", j.Cost), defects)
	}
	if err := t.write(c.stdout, terminalWidth(c.stdout)); err != nil {
		return err
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	if all > len(list) {
		n.say("\n%d of %d jobs; --limit 0 lists all.", len(list), all)
	}
	return n.cautions()
}

// siteNames are the sites' names by number.
func siteNames(c *cli, s *session) (map[inventory.SiteID]string, error) {
	sites, err := s.FindSites(c.ctx, s.client)
	out := make(map[inventory.SiteID]string, len(sites))
	for _, site := range sites {
		out[site.ID] = site.Name
	}
	return out, err
}

func jobListing(list []inventory.Job, sites map[inventory.SiteID]string) *listing {
	l := &listing{head: &orderedMap{}}
	for i := range list {
		j := &list[i]
		l.rows = append(l.rows, listed{properties: []ranking.Property{
			{Name: "job_id", Value: int(j.ID)}, {Name: "site", Value: sites[j.Site]}, {Name: "year", Value: j.Year}, {Name: "package", Value: j.Package}, {Name: "tag", Value: j.Tag},
			{Name: "tree_id", Value: int(j.Tree)}, {Name: "work", Value: j.Work}, {Name: "visit", Value: j.Visit}, {Name: "state", Value: string(j.State)}, {Name: "must", Value: j.Must},
			{Name: "gates_open", Value: j.OpenGates()}, {Name: "crew_hours", Value: ranking.Rounded(j.Hours)}, {Name: "cost", Value: ranking.Rounded(j.Cost)}, {Name: "dose", Value: j.Dose},
			{Name: "open_days", Value: j.Open}, {Name: "quietest", Value: j.Quietest}, {Name: "harm_index_before", Value: ranking.Rounded(j.HarmBefore * 1000)},
			{Name: "harm_index_predicted", Value: ranking.Rounded(j.HarmPredicted * 1000)}, {Name: "longitude", Value: j.Point[0]}, {Name: "latitude", Value: j.Point[1]}, {Name: "caution", Value: question.Caution},
		}})
	}
	if len(l.rows) > 0 {
		l.columns = names(l.rows[0].properties)
	}
	return l
}

type jobsShow struct {
	ID     int64  `arg:"" help:"Number of the job."`
	Format string `default:"text" enum:"text,json" help:"text or json."`
}

// Run shows a job.
func (p *jobsShow) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	j, err := findJob(c, s, p.ID)
	if err != nil {
		return err
	}
	return writeJob(c, s, j, p.Format)
}

func findJob(c *cli, s *session, id int64) (*inventory.Job, error) {
	list, err := s.FindJobs(c.ctx, inventory.JobQuery{Client: s.client, IDs: []int64{id}})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, inventory.Errorf(inventory.NotFound, "there is no job %d", id)
	}
	return &list[0], nil
}

func writeJob(c *cli, s *session, j *inventory.Job, format string) error {
	names, err := siteNames(c, s)
	if err != nil {
		return err
	}
	ids := []int64{int64(j.ID)}
	events, err := s.JobEvents(c.ctx, s.client, ids)
	if err != nil {
		return err
	}
	photos, err := s.FindPhotos(c.ctx, s.client, ids)
	if err != nil {
		return err
	}
	d := question.JobDocumentOf(j, names[j.Site], events, photos)
	if format == "json" {
		return encode(c.stdout, d)
	}
	return jobText(notes{c.stdout, terminalWidth(c.stdout)}, d)
}

type jobsAdd struct {
	Tag    string `arg:"" help:"The tree's tag or source id."`
	Visit  int    `default:"1" help:"Visit of the tree's specification, from 1."`
	Year   int    `required:"" help:"Year to do it in."`
	Urgent bool   `help:"A hazard that cannot wait for windows."`
	workFlags
	mustBy
}

// Run makes one job.
func (p *jobsAdd) Run(c *cli) error {
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	j, err := question.AddJob(c.ctx, s, b, question.NewVisit{Tag: p.Tag, Visit: p.Visit, Year: p.Year, Urgent: p.Urgent, By: p.By})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.stdout, "Job %d is proposed: %s of tree %s, visit %d, in %d.\n", j.ID, j.Work, j.Tag, j.Visit, j.Year)
	return notes{c.stdout, terminalWidth(c.stdout)}.cautions()
}

// whichJobs names jobs by their numbers, or by year and package.
type whichJobs struct {
	IDs     []int64 `arg:"" optional:"" name:"job" help:"Numbers of jobs."`
	Site    string  `help:"Site of the package." placeholder:"NAME"`
	Year    int     `help:"All jobs of this year that can take the step."`
	Package string  `help:"And of this street or area." placeholder:"NAME"`
	mustBy
}

// find returns the jobs named. Those of a year or package are the ones that can go
// to a state.
func (w *whichJobs) find(c *cli, s *session, can func(*inventory.Job) bool) ([]int64, error) {
	if len(w.IDs) > 0 {
		if w.Year != 0 || w.Package != "" {
			return nil, inventory.Errorf(inventory.Invalid, "give either the numbers of jobs or --year and --package")
		}
		return w.IDs, nil
	}
	if w.Year == 0 || w.Package == "" {
		return nil, inventory.Errorf(inventory.Invalid, "say which jobs: their numbers, or --year and --package")
	}
	site, err := s.GetSite(c.ctx, s.client, w.Site) // the only one, where it is not named
	if err != nil {
		return nil, err
	}
	q := inventory.JobQuery{Client: s.client, Site: site.ID, Year: w.Year, Package: w.Package}
	list, err := s.FindJobs(c.ctx, q)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for i := range list {
		if can(&list[i]) {
			ids = append(ids, int64(list[i].ID))
		}
	}
	if len(ids) == 0 {
		return nil, inventory.Errorf(inventory.NotFound, "none of the %d jobs of %d %s can take that step", len(list), w.Year, w.Package)
	}
	return ids, nil
}

// each takes a step with each of some jobs. It stops at the first that cannot, and
// says how many were done.
func (w *whichJobs) each(c *cli, can func(*inventory.Job) bool, did string, step func(*session, int64) error) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	ids, err := w.find(c, s, can)
	if err != nil {
		return err
	}
	for i, id := range ids {
		if err := step(s, id); err != nil {
			if i > 0 {
				fmt.Fprintf(c.stdout, "%d of %d jobs %s.\n", i, len(ids), did)
			}
			return err
		}
	}
	_, err = fmt.Fprintf(c.stdout, "%s %s.\n", plural(int64(len(ids)), "job", "jobs"), did)
	return err
}

// move is a step of jobs that needs no more than who and why.
func (w *whichJobs) move(c *cli, to inventory.JobState, did, reason string) error {
	can := func(j *inventory.Job) bool {
		return slices.Contains(j.NextStates(), to) && (to != inventory.InHand || j.State == inventory.Approved && j.OpenGates() == 0)
	}
	return w.each(c, can, did, func(s *session, id int64) error {
		_, err := question.Move(c.ctx, s, s.client, inventory.JobID(id), to, w.By, reason, inventory.Opt[int]{})
		return err
	})
}

type jobsApprove struct{ whichJobs }

// Run agrees to jobs.
func (p *jobsApprove) Run(c *cli) error { return p.move(c, inventory.Approved, "approved", "") }

type jobsTake struct{ whichJobs }

// Run takes jobs in hand.
func (p *jobsTake) Run(c *cli) error { return p.move(c, inventory.InHand, "in hand", "") }

type jobsWithdraw struct {
	whichJobs
	Reason string `required:"" help:"Why." placeholder:"TEXT"`
}

// Run withdraws jobs.
func (p *jobsWithdraw) Run(c *cli) error {
	return p.move(c, inventory.Withdrawn, "withdrawn", p.Reason)
}

type jobsReturn struct {
	whichJobs
	Reason string `required:"" help:"Why." placeholder:"TEXT"`
}

// Run takes jobs a step back.
func (p *jobsReturn) Run(c *cli) error {
	back := map[inventory.JobState]inventory.JobState{
		inventory.Approved: inventory.Proposed, inventory.InHand: inventory.Approved, inventory.Done: inventory.InHand, inventory.Checked: inventory.InHand, inventory.Withdrawn: inventory.Proposed,
	}
	return p.each(c, func(j *inventory.Job) bool { return back[j.State] != "" }, "taken a step back", func(s *session, id int64) error {
		j, err := findJob(c, s, id)
		if err != nil {
			return err
		}
		to, ok := back[j.State]
		if !ok {
			return inventory.Errorf(inventory.Conflict, "job %d is %s: there is no step back from there", id, j.State)
		}
		_, err = question.Move(c.ctx, s, s.client, j.ID, to, p.By, p.Reason, inventory.Some(j.Version))
		return err
	})
}

type jobsClear struct {
	Gate string `arg:"" help:"Name of the gate, such as permit."`
	whichJobs
	Reference string `help:"Number of the permit, or what else proves it." placeholder:"TEXT"`
	On        string `help:"Day that it was settled (default: today)." placeholder:"YYYY-MM-DD"`
	Open      bool   `help:"Open the gate again."`
}

// Run settles a gate.
func (p *jobsClear) Run(c *cli) error {
	on, err := parseDay("on", p.On)
	if err != nil {
		return err
	}
	did := p.Gate + " settled"
	if p.Open {
		did = p.Gate + " open again"
	}
	can := func(j *inventory.Job) bool {
		return (j.State == inventory.Proposed || j.State == inventory.Approved) &&
			slices.ContainsFunc(j.Gates, func(g inventory.Gate) bool { return strings.EqualFold(g.Name, p.Gate) && g.Cleared == p.Open })
	}
	return p.each(c, can, "have "+did, func(s *session, id int64) error {
		_, err := question.ClearGate(c.ctx, s, s.client, inventory.JobID(id), question.Settling{Gate: p.Gate, Cleared: !p.Open, By: p.By, Reference: p.Reference, On: on, Today: time.Now()}, inventory.Opt[int]{})
		return err
	})
}

type jobsUrgent struct {
	ID     int64  `arg:"" help:"Number of the job."`
	Reason string `required:"" help:"Why it cannot wait." placeholder:"TEXT"`
	practiceFlag
	assumptions
	mustBy
}

// Run makes a job urgent.
func (p *jobsUrgent) Run(c *cli) error {
	return c.withJob(p.ID, p.practiceFlag, p.assumptions, func(s *session, b *question.Basis, j *inventory.Job) error {
		now, err := question.MarkUrgent(c.ctx, s, b, j.ID, p.By, p.Reason, inventory.Some(j.Version))
		if err != nil {
			return err
		}
		return writeJob(c, s, now, "text")
	})
}

type jobsPhoto struct {
	ID    int64    `arg:"" help:"Number of the job."`
	Files []string `arg:"" help:"JPEG, PNG or WebP files." type:"existingfile"`
	mustBy
}

// Run adds pictures.
func (p *jobsPhoto) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	for _, path := range p.Files {
		b, err := os.ReadFile(path)
		if err != nil {
			return inventory.Errorf(inventory.Invalid, "the photo cannot be read: %w", err)
		}
		photo := &inventory.Photo{Job: inventory.JobID(p.ID), Name: filepath.Base(path), MediaType: http.DetectContentType(b), Bytes: b, By: p.By}
		if err := question.CheckPhoto(photo); err != nil {
			return inventory.Errorf(inventory.KindOf(err), "%s: %w", path, err)
		}
		if err := s.AddPhoto(c.ctx, s.client, photo); err != nil {
			return err
		}
		fmt.Fprintf(c.stdout, "Photo %d of job %d: %s, %d bytes, SHA-256 %s\n", photo.ID, p.ID, photo.Name, photo.Size, photo.SHA256)
	}
	return nil
}

type jobsEffect struct {
	Site   string `help:"Only of this site." placeholder:"NAME"`
	Format string `default:"text" enum:"text,json" help:"text or json."`
}

// Run shows the harm that work took off.
func (p *jobsEffect) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	q := inventory.JobQuery{Client: s.client, States: []inventory.JobState{inventory.Done, inventory.Checked}}
	if q.Site, err = s.siteNamed(c.ctx, p.Site); err != nil {
		return err
	}
	list, err := s.FindJobs(c.ctx, q)
	if err != nil {
		return err
	}
	e := question.EffectOf(list)
	if p.Format == "json" {
		return encode(c.stdout, e.Document())
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	if e.Jobs == 0 {
		n.say("No job is done yet.")
		return nil
	}
	n.say("%s done: harm index %s before, %s predicted by the client's assumption, %s computed again from what is recorded after the work.",
		plural(int64(e.Jobs), "job", "jobs"), ranking.Figure(e.Before*1000), ranking.Figure(e.Predicted*1000), ranking.Figure(e.After*1000))
	n.say("%s\n", question.EffectAssumption)
	return n.cautions()
}
