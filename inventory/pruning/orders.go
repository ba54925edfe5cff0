package pruning

import (
	"regexp"
	"strings"
)

// A person's own words are no way around the rules: what they order is found by
// the trade's plain words for topping and heading, with the obvious forms of some
// other languages. Common practice, no source. It errs to the side of refusing:
// who means something else says it in other words.

// bad is a way to order a cut that is never specified. Where noun is set it is a
// name, which goes with 'no' over a comma and may be told of old cuts.
type bad struct {
	pattern *regexp.Regexp
	noun    bool
	verb    bool // which is none behind an article: the top
	area    bool // of the whole crown, where no side of it is named
}

const (
	objects = `(?:the|it|this|that|these|those|them|all|every|each|any|both|at|to|down|back|off|out|over|trees?|crowns?|leaders?|limbs?|branches|shoots|oaks?|everything)`
	whole   = `(?:trees?|crowns?|canopy|it|them|everything|all|height|leaders?|heads?|tops?)`
	amount  = `(?:\d+(?:[.,]\d+)?\s*(?:%|per ?cent|percent|m|metres?|meters?|ft|feet)|a (?:third|quarter|half)|half|one[ -]third)`
)

func badWords(expression string, noun bool) bad {
	return bad{pattern: regexp.MustCompile(`(?:^|[^\pL\pN])(` + expression + `)(?:$|[^\pL\pN])`), noun: noun, area: strings.Contains(expression, amount), verb: strings.HasPrefix(expression, "top ") || strings.HasPrefix(expression, "head ")}
}

var orders = []bad{
	badWords(`(?:re-?)?topping`, true),
	badWords(`heading(?:[ -](?:cuts?|back|off|of|the|all|down))`, true),
	badWords(`(?:pollard|lopp|dehorn|hat-?rack|stubb|tipp|flat-?topp)ing`, true),
	badWords(`pollards?|hat-?racks?|dehorn|flat-?top`, true),
	badWords(`(?:be|get|gets|getting|being|(?:have|has|want|wants|need|needs) (?:it|them|(?:the|this|that|every|each) \pL+)) (?:re-?)?(?:topped|headed|pollarded|lopped|dehorned|stubbed|beheaded|rounded over)`, false),
	badWords(`(?:topped|headed|lopped|pollarded) (?:at|to) \d+(?:[.,]\d+)?\s*(?:m|metres?|meters?|ft|feet)`, true),
	badWords(`top `+objects, false),
	badWords(`head (?:the|it|this|that|them|all|every|each|back|off|down)`, false),
	badWords(`heads? (?:\pL+ ){1,3}back`, false),
	badWords(`lop|lops|stub (?:it|them|the|all|back|off)|round (?:it |them |the crown )?over|rounding[ -]over|behead`, false),
	badWords(`(?:cut|take|saw|chop|remove|lop|knock|bring)(?:s|ting|ing)? (?:off |out |down )?(?:the|its|their|all)(?: whole| entire| upper)? tops?(?: (?:off|out|down))?`, false),
	badWords(`(?:cut|reduce|bring|take|lower|trim|shorten|shear|saw|keep)(?:s|d|ting|ing|ring)?(?: \pL+){0,4}? `+whole+`(?: \pL+){0,3}? (?:to|at)(?: a height of| about| a uniform)? \d+(?:[.,]\d+)?\s*(?:m|metres?|meters?|ft|feet)`, false),
	badWords(`(?:cut|reduce|trim|shorten|shear|reduction)(?:s|d|ting|ing)? (?:[\pL\pN%.]+ ){0,6}?(?:by|of) (?:about |at least |up to )?`+amount+`(?: [\pL\pN]+){0,3} (?:all (?:over|round|around)|overall|on all sides|throughout|everywhere)`, false),
	badWords(`(?:cut|reduce|trim|shorten|shear)(?:s|d|ting|ing)? (?:[\pL]+ ){0,4}?(?:all (?:over|round|around)|overall|on all sides|throughout|everywhere) (?:by|to) (?:about |at least )?`+amount, false),
	badWords(`(?:cut|reduce|trim|shorten|lower|shear)(?:s|d|ting|ing)? (?:the |its |their )?(?:whole |entire |overall )?(?:trees?|crowns?|canopy|height|everything|all branches|all limbs|all leaders) (?:height )?(?:back )?(?:by )?(?:about |at least |up to )?`+amount, false),
	badWords(`(?:crown|height|overall|all-?round) reduction (?:(?:of|by) )?(?:about |at least |up to )?`+amount, false),
	badWords(amount+` (?:crown|canopy|height|overall|all-?round) reduction`, false),
	// German, French, Spanish, Italian, Dutch.
	badWords(`kappen|kappung|kappschnitt|köpfen|étêter|étêtage|etetage|écimer|écimage|rabattre|desmochar|desmoche|descabezar|capitozzare|capitozzatura|toppen|kandelaberen|knotten`, true),
}

var (
	sentences = regexp.MustCompile(`[.;:!?\n]+(?:\s|$)|\s(?:but|instead|then|aber|sondern|mais|pero|ma|maar)\s`)
	negations = regexp.MustCompile(`(?:^|[^\pL])(no|not|never|don't|don’t|do not|without|avoid|nor|neither|refuse|forbid|kein|keine|nicht|ohne|pas|sans|aucun|aucune|jamais|sin|non|senza|geen|niet)(?:$|[^\pL])`)
	// Words behind a 'not' that turn it around, and such that make a past deed an
	// order again.
	turned     = regexp.MustCompile(`(?:^|[^\pL])(only|just|merely|hesitate|wait|forget|fail|doubt|delay|problem|matter|longer than|later than)(?:$|[^\pL])`)
	again      = regexp.MustCompile(`(?:^|[^\pL])(again|repeat|renew|redo|re-?top|re-?topping|once more|as before)(?:$|[^\pL])`)
	past       = regexp.MustCompile(`(?:^|[^\pL])(was|were|been|old|past|former|previous|earlier|recorded|after|since|from|repair|reverse|undo|healed|because of|due to|harm of|damage of|against)(?: (?:the|that|this|its|any|all|bad|wide|\d+))*\s*$`)
	dated      = regexp.MustCompile(`^\s*(?:cuts?|wounds?|points?|stubs?)?\s*(?:of|in|from) (?:18|19|20)\d\d`)
	determined = regexp.MustCompile(`(?:^|[^\pL])(?:the|a|its|their|very|tree|crown|stem|from|of|at|on)\s+$`)
	sided      = regexp.MustCompile(`^,?\s*(?:off\s+)?(?:on|over|towards?|above|along|clear of) (?:the|its|one) (?:\pL+ ){0,2}\pL`)
	ruled      = regexp.MustCompile(`^[^,]{0,40}?(?:is|are|was|be|shall|must|may|should|will|would) (?:be )?(?:not|never|forbidden|prohibited|banned|refused|ruled out)`)
)

// ordered returns the words of a text that order topping or heading.
func ordered(text string) []string {
	var found []string
	for _, sentence := range sentences.Split(strings.ToLower(strings.Join(strings.Fields(text), " ")), -1) {
		refusing := false // a part before it refuses such a cut
		for _, part := range strings.Split(sentence, ",") {
			part = strings.TrimSpace(part)
			negated := negations.FindStringIndex(part)
			for i := range orders {
				at := orders[i].pattern.FindStringSubmatchIndex(part)
				if at == nil {
					continue
				}
				before, behind := part[:at[2]], part[at[3]:]
				switch {
				case orders[i].verb && determined.MatchString(before), orders[i].area && sided.MatchString(behind):
				case negated != nil && negated[0] < at[2] && !turned.MatchString(before), negated == nil && refusing, ruled.MatchString(behind):
					refusing = true
				case orders[i].noun && !again.MatchString(part) && (past.MatchString(before) || dated.MatchString(behind)):
				default:
					found = append(found, part[at[2]:at[3]])
				}
			}
			// A short refusal goes on over a comma: no flush cuts, topping or stubs.
			refusing = refusing || negated != nil && !turned.MatchString(part) && strings.Count(part, " ") <= 2
		}
	}
	return found
}
