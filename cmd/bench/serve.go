package main

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"time"
)

// asked is what clients ask of one server in one case.
type asked struct {
	what   string // of the server, in the table
	server *server
	at     int // which of its addresses
	client func(i int) asker
	status int
	tags   map[string]string // what the client has already, by path
	got    load
}

// contest is one case: what the service does beside what else does the same. Of
// several floors the fastest counts.
type contest struct {
	name  string
	ours  *asked
	bare  []*asked
	least float64 // share of the floor's requests that is wanted
}

// serve measures the service against bare handlers that run the same SQL.
func (b *bench) serve() error {
	if err := b.addRecords(); err != nil {
		return err
	}
	ours, err := b.start(serviceRole)
	if err != nil {
		return err
	}
	defer ours.stop()
	floor, err := b.start(bareRole)
	if err != nil {
		return err
	}
	defer floor.stop()
	p, err := b.places(ours)
	if err != nil {
		return err
	}
	if err := b.sameAnswers(ours, floor, p); err != nil {
		return err
	}
	fmt.Printf("\nservice: %d connections on loopback, %d rounds of %.1f s each in turn, no compression; the floor is a bare handler with the same SQL\n",
		connections, b.runs, b.seconds)
	list := b.contests(ours, floor, p)
	rate := make(map[string]float64)
	for _, c := range list {
		if err := b.contest(c); err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
		rate[c.name] = c.ours.got.perSecond()
		c.print()
	}
	for _, z := range []string{"z14", "z16"} {
		fmt.Printf("  %s tile: cached %.1f times as many as uncached (10 wanted)\n", z, rate[z+" tile, cached"]/rate[z+" tile, uncached"])
	}
	return b.exports(ours, floor)
}

// contest runs the rounds of one case, each server in turn.
func (b *bench) contest(c *contest) error {
	all := append([]*asked{c.ours}, c.bare...)
	long := time.Duration(b.seconds * float64(time.Second))
	for _, a := range all {
		if _, err := measure(b.ctx, a.server.at[a.at], a, long/3+200*time.Millisecond); err != nil { // warms caches and plans
			return fmt.Errorf("%s: %w", a.what, err)
		}
	}
	for round := range b.runs {
		for _, a := range all {
			wait := func() error { return nil }
			if b.profiles != "" && round == 0 {
				name := strings.NewReplacer(" ", "-", ",", "").Replace(fmt.Sprintf("%d %s %s.pprof", b.trees, c.name, a.what))
				wait = a.server.profile(filepath.Join(b.profiles, name), max(1, int(b.seconds)))
			}
			got, err := measure(b.ctx, a.server.at[a.at], a, long)
			if err != nil {
				return fmt.Errorf("%s: %w", a.what, err)
			}
			if err := wait(); err != nil {
				return err
			}
			a.got.add(got)
		}
	}
	return nil
}

func (c *contest) print() {
	line := func(a *asked) string {
		return fmt.Sprintf("%-16s %9.1f/s  %7.1f MB/s  %8.1f kB each", a.what, a.got.perSecond(),
			float64(a.got.bytes)/1e6/a.got.took.Seconds(), float64(a.got.bytes)/1e3/float64(max(a.got.requests, 1)))
	}
	fmt.Printf("  %-30s %s\n", c.name, line(c.ours))
	best := 0.0
	for _, a := range c.bare {
		fmt.Printf("  %-30s %s\n", "", line(a))
		best = max(best, a.got.perSecond())
	}
	if best > 0 {
		share := c.ours.got.perSecond() / best
		word := "reached"
		if share < c.least {
			word = "MISSED"
		}
		fmt.Printf("  %-30s %.2f of the floor (%.2f wanted: %s)\n", "", share, c.least, word)
	}
}

// contests are the cases.
func (b *bench) contests(ours, floor *server, p *places) (list []*contest) {
	ok := func(what string, s *server, at int, client func(int) asker) *asked {
		return &asked{what: what, server: s, at: at, client: client, status: http.StatusOK}
	}
	add := func(name string, client func(int) asker, bare ...*asked) {
		list = append(list, &contest{name, ok("ours", ours, 0, client), bare, 0.9})
	}
	const question = "A_OVERLAPS(over,('parking','walkway')) AND A_CONTAINS(cut_kinds,('topping'))"
	filter := "filter=" + strings.NewReplacer(" ", "%20", "'", "%27").Replace(question)
	add("page of 1,000", p.pages("/collections/trees/items?limit=1000"),
		ok("encoded in Go", floor, 0, p.barePages("/go/items", 1000)), ok("built in SQL", floor, 0, p.barePages("/sql/items", 1000)))
	add("single feature", b.single("/collections/trees/items/%d"),
		ok("encoded in Go", floor, 0, b.single("/go/item?id=%d")), ok("built in SQL", floor, 0, b.single("/sql/item?id=%d")))
	add("question, page of 100", p.pages("/collections/trees/items?limit=100&"+filter),
		ok("encoded in Go", floor, 0, p.barePages("/go/question", 100)), ok("built in SQL", floor, 0, p.barePages("/sql/question", 100)))
	add("question, first page, counted", always("/collections/trees/items?limit=100&"+filter), ok("encoded in Go", floor, 0, always("/count")))
	for _, z := range []int{14, 16} {
		tiles, bare := b.tiles(z, "/collections/trees/tiles/WebMercatorQuad/%[1]d/%[3]d/%[2]d"), b.tiles(z, "tile?z=%d&x=%d&y=%d")
		list = append(list, &contest{fmt.Sprintf("z%d tile, uncached", z), ok("ours", ours, 1, oneOf(tiles, "")),
			[]*asked{ok("ST_AsMVT, words", floor, 0, oneOf(bare, "/words/")), ok("ST_AsMVT, codes", floor, 0, oneOf(bare, "/codes/"))}, 0.9})
		add(fmt.Sprintf("z%d tile, cached", z), oneOf(tiles, ""))
		known := ok("ours", ours, 0, oneOf(tiles, ""))
		known.status, known.tags = http.StatusNotModified, tagsOf(ours.at[0], tiles)
		list = append(list, &contest{name: fmt.Sprintf("z%d tile, not modified", z), ours: known})
	}
	return list
}
