package api

import (
	"net/http"
	"reflect"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
)

// workSchemas are those of what is answered about work.
func workSchemas() object {
	return object{
		{"specification", documentSchema[specificationAnswer]()},
		{"reduction", documentSchema[reductionAnswer]()},
		{"appraisal", documentSchema[appraisalAnswer]()},
		{"appraisals", documentSchema[appraisalsAnswer]()},
		{"programme", documentSchema[programmeAnswer]()},
		{"programmes", documentSchema[programmesAnswer]()},
		{"programmeItems", documentSchema[itemsAnswer]()},
		{"proposal", documentSchema[proposalAnswer]()},
		{"job", documentSchema[jobAnswer]()},
		{"completion", structOfType(reflect.TypeFor[inventory.Completion]())},
		{"jobs", documentSchema[jobsAnswer]()},
		{"photo", documentSchema[photoAnswer]()},
		{"due", documentSchema[dueAnswer]()},
		{"effect", documentSchema[effectAnswer]()},
	}
}

func yearParameter(note string, required bool) parameter {
	return parameter{name: "year", note: note, required: required, schema: wholeFrom(1900, 2200)}
}

// workOperations are the ways to ask about work on trees and, where editing is
// on, to plan it and record it.
func (s *Server) workOperations() []operation {
	document := func(name string) answering { return answering{form: typeJSON, schema: ref("schemas", name)} }
	pack := parameter{name: "package", note: "The street or area that is worked in together.", schema: text()}
	out := []operation{
		asked("/specification", "getSpecification", tagWork, "What to cut on one tree, and why: as a person decided it, else by the rules", shared("site", "tag", "as_of"), document("specification")),
		asked("/drawing.svg", "getDrawing", tagWork, "One tree with its cuts and what is to be cut at the visit to come, from the side or from above",
			append(shared("site", "tag", "as_of"), parameter{name: "view", note: "From which side.", schema: words(drawingViews...).with(member{"default", drawingViews[0]})}), answering{form: typeSVG, schema: text()}),
		asked("/reduction", "getReduction", tagWork, "What cutting a limb back to a lateral takes off, and whether that is a reduction or a heading cut", reductionParameters(), document("reduction")),
		asked("/practice", "getPractice", tagWork, "What specifications, windows, costs and effects assume, each number with its source", nil, answering{form: typeYAML, schema: text()}),
		asked("/appraisals", "getAppraisals", tagWork, "What the trees of a site were appraised at, the latest of each", shared("site", "as_of"), document("appraisals")),
		asked("/programmes", "getProgrammes", tagWork, "The programmes that were kept, the latest first", shared("site", "as_of"), document("programmes")),
		asked("/programmes/{programme}", "getProgramme", tagWork, "A programme: what was asked, what comes out by year, and how far from the best it can be", []parameter{programmeParameter}, document("programme")),
		asked("/programmes/{programme}/items", "getProgrammeItems", tagWork, "What a programme says of each tree, by first year, package and place",
			append([]parameter{programmeParameter, yearParameter("Only trees with a visit in this year.", false), pack,
				{name: "planned", note: "Only trees that are worked on in the programme's years, or with false only those left out.", schema: boolean()}}, shared("limit", "cursor")...), document("programmeItems")),
		asked("/jobs", "getJobs", tagWork, "Jobs by year, package and tag, with their steps and without their specifications", slices.Concat(shared("site", "as_of"), []parameter{
			{name: "state", note: "Only jobs in any of these states.", schema: listOf(words(inventory.JobStates...))}, yearParameter("Only jobs planned for this year.", false), pack,
			{name: "tag", note: "Only jobs of the tree with this tag or source id.", schema: text()},
			{name: "programme", note: "Only jobs of this programme.", schema: wholeFrom(1, 1<<53-1)}}, shared("limit", "cursor")), document("jobs")),
		matching(asked("/jobs/{job}", "getJob", tagWork, "A job with its specification, gates, steps, completion and pictures", append([]parameter{jobParameter}, shared("as_of")...), document("job"))),
		{path: "/jobs/{job}/photos/{photo}", id: "getPhoto", tag: tagWork, summary: "A picture of a job, as it was sent", parameters: []parameter{jobParameter, pathParameter("photo", "The number of a picture.", wholeFrom(1, 1<<53-1))},
			answers: photoAnswers()},
		asked("/due", "getDue", tagWork, "The trees that somebody asked to be looked at again by a day",
			append(shared("site", "as_of"), parameter{name: "until", note: "The last day; today without it.", schema: object{{"type", "string"}, {"format", "date"}}}), document("due")),
		asked("/work/effect", "getEffect", tagWork, "How much harm work took off: as the client's assumption predicted it, and as computed again", append(shared("site", "as_of"), yearParameter("Only jobs planned for this year.", false)), document("effect")),
		printed(asked("/crew-sheet", "getCrewSheet", tagWork, "What a crew takes along to a package of jobs", append(shared("site"), yearParameter("The year that the jobs are planned for.", true),
			parameter{name: "package", note: pack.note, required: true, schema: text()}), answering{form: typeHTML, schema: text()}, answering{form: typePDF, schema: bytesSchema()})),
		printed(asked("/bid-sheet", "getBidSheet", tagWork, "The work that bidders price", append(shared("site"), yearParameter("Only jobs planned for this year; all years without it.", false), pack,
			parameter{name: "estimate", note: "Adds the client's own hours and cost, which bidders are not to see.", schema: boolean()},
			parameter{name: "list", note: "Which list, as CSV.", schema: words("quantities", "trees").with(member{"default", "quantities"})}),
			answering{form: typeXLSX, schema: bytesSchema()}, answering{form: typeCSV, schema: text()})),
		printed(asked("/report", "getReport", tagWork, "The report on a site for an owner or a council", append(shared("site"), parameter{name: "programme", note: "The programme that it tells of; the latest without it.", schema: wholeFrom(1, 1<<53-1)},
			parameter{name: "top", note: "How many trees are told of one by one.", schema: wholeFrom(1, mostTop)}), answering{form: typeHTML, schema: text()}, answering{form: typePDF, schema: bytesSchema()})),
	}
	if !s.config.Edit {
		return out
	}
	return append(out, s.workEdits()...)
}

var (
	programmeParameter = pathParameter("programme", "The number of a programme.", wholeFrom(1, 1<<53-1))
	jobParameter       = pathParameter("job", "The number of a job.", wholeFrom(1, 1<<53-1))
)

func bytesSchema() object { return object{{"type", "string"}, {"format", "binary"}} }

func matching(o operation) operation {
	o.problems = append(o.problems, http.StatusPreconditionFailed)
	return o
}

func printed(o operation) operation {
	o.problems = append(o.problems, http.StatusConflict, http.StatusUnprocessableEntity, http.StatusNotImplemented)
	return o
}

func photoAnswers() (out []answering) {
	for _, form := range photoTypes {
		out = append(out, answering{form: form, schema: bytesSchema()})
	}
	return out
}

func reductionParameters() []parameter {
	metres, centimetres := object{{"type", "number"}, {"minimum", 0}, {"maximum", 130}}, object{{"type", "number"}, {"minimum", 0}, {"maximum", 1500}}
	return []parameter{
		{name: "length_m", note: "Length of the limb.", required: true, schema: metres},
		{name: "base_diameter_cm", note: "Diameter of the limb at its base.", required: true, schema: centimetres},
		{name: "lateral_diameter_cm", note: "Diameter of the lateral that is cut to; 0 for none.", required: true, schema: centimetres},
		{name: "lateral_distance_m", note: "Distance of that lateral from the limb's base.", required: true, schema: metres},
		{name: "limb_diameter_cm", note: "Diameter of the limb where it is cut; by the practice's taper without it.", schema: centimetres},
		{name: "angle_deg", note: "Angle of the limb above the horizontal; level without it, the heaviest case.", schema: object{{"type", "number"}, {"minimum", -90}, {"maximum", 90}}},
		{name: "lateral_length_m", note: "Length of the lateral; as slender as the limb's own end without it.", schema: metres},
	}
}

// workEdits are the ways to plan work and to record it.
func (s *Server) workEdits() []operation {
	by := member{"by", text().with(member{"description", "Who does this, as the record names them; left out where a key says it"})}
	day := func() object { return object{{"type", "string"}, {"format", "date"}} }
	change := func(path, id, summary string, parameters []parameter, answer answering, required []string, body ...member) operation {
		if len(s.config.EditKeys) == 0 {
			required = append(slices.Clone(required), "by")
		}
		schema := loose(required, append(body, by)...).with(member{"additionalProperties", false})
		return s.workEdit(path, id, summary, parameters, object{{typeJSON, object{{"schema", schema}}}}, answer)
	}
	job := func(path, id, summary string, required []string, body ...member) operation {
		match := parameter{name: "If-Match", in: "header", note: "The ETag of the job as it was read: the step is refused with 412 where the job has changed since.", required: s.config.RequireMatch, schema: text()}
		return change(path, id, summary, []parameter{jobParameter, match}, answering{form: typeJSON, schema: ref("schemas", "job")}, required, body...)
	}
	created := func(schema string) answering {
		return answering{status: http.StatusCreated, form: typeJSON, schema: ref("schemas", schema)}
	}
	plan := change("/programmes", "makeProgramme", "Work out a programme, and keep it unless keep is false", shared("site"), created("programme"), []string{"from", "years", "measure", "budget"}, programmeBody()...)
	plan.answers = append(plan.answers, answering{form: typeJSON, schema: ref("schemas", "programme")})
	photo := s.workEdit("/jobs/{job}/photos", "addPhoto", "Add a picture to a job; the same picture is kept once, so that it may be sent again where the answer got lost", []parameter{jobParameter,
		{name: "name", note: "The name of the file.", schema: text()}, {name: "by", note: "Who adds it; left out where a key says it.", schema: text()}}, object{}, created("photo"))
	content := object{}
	for _, form := range photoTypes {
		content = content.with(member{form, object{{"schema", bytesSchema()}}})
	}
	photo.body = object{{"required", true}, {"content", content}}
	done := job("/jobs/{job}/completion", "complete", "Record what a crew did: each cut is classed at once, and a stub or heading cut comes back as a defect", []string{"on"}, completionBody(day)...)
	done.parameters = append(done.parameters, parameter{name: "Idempotency-Key", in: "header", schema: text(),
		note: "A string in quotes that the client made for this completion. The same sent again with it is answered and not recorded twice; another one with it is refused with 422."})
	return []operation{
		change("/specification", "changeSpecification", "Change what is cut on a tree; what breaks a rule needs a reason, which is kept", shared("site", "tag"), answering{form: typeJSON, schema: ref("schemas", "specification")}, nil, changeBody()...),
		change("/appraisals", "appraise", "Appraise a tree by ratings that a person gives", shared("site", "tag"), created("appraisal"), nil, appraisalBody()...),
		plan,
		change("/programmes/{programme}/jobs", "propose", "Make the jobs of a programme; jobs proposed before that nobody agreed to are withdrawn", []parameter{programmeParameter}, created("proposal"), nil),
		change("/jobs", "addJob", "Make a job by hand: one visit of a tree's specification", shared("site"), created("job"), []string{"tag", "year"}, member{"tag", text()}, member{"visit", whole()}, member{"year", whole()}, member{"urgent", boolean()}),
		job("/jobs/{job}/state", "moveJob", "Take a job to another state; a step back, or out, needs a reason", []string{"to"}, member{"to", words(inventory.JobStates...)}, member{"reason", text()}),
		job("/jobs/{job}/gates", "clearGate", "Settle one of a job's gates, or open it again", []string{"name"}, member{"name", text()}, member{"cleared", boolean().with(member{"default", true})}, member{"reference", text()}, member{"on", day()}),
		job("/jobs/{job}/urgent", "makeUrgent", "Say that a job is about a hazard that cannot wait for windows", []string{"reason"}, member{"reason", text()}),
		done,
		job("/jobs/{job}/check", "checkJob", "Close a job that is done, or send it back; by somebody else than the crew", []string{"accept"},
			member{"on", day()}, member{"accept", boolean()}, member{"reason", text()}, member{"whole_tree", likelihood()}, member{"crown", likelihood()}, member{"limb", likelihood()},
			member{"condition", text()}, member{"finished", boolean()}),
		photo,
	}
}

func likelihood() object { return words("improbable", "possible", "probable", "imminent") }

func (s *Server) workEdit(path, id, summary string, parameters []parameter, content object, answer answering) operation {
	return operation{method: http.MethodPost, path: path, id: id, tag: tagWork, summary: summary, parameters: parameters,
		body: object{{"required", true}, {"content", content}}, answers: []answering{answer, {status: http.StatusNoContent}}, headers: []string{"Location"}, secured: len(s.config.EditKeys) > 0,
		problems: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusMethodNotAllowed, http.StatusConflict, http.StatusPreconditionFailed, http.StatusRequestEntityTooLarge,
			http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity, http.StatusPreconditionRequired}}
}

func changeBody() []member {
	item := loose([]string{"place", "text"}, member{"cut", words(inventory.CutRemoval, inventory.CutReduction)}, member{"place", words(pruning.Places...)}, member{"on_cut", whole()},
		member{"bearing_deg", number()}, member{"height_m", number()}, member{"reach_m", number()}, member{"size_from_m", number()}, member{"size_to_m", number()},
		member{"lateral_share", number()}, member{"text", text()}, member{"rule", text()})
	return []member{
		{"work", words(practice.Works...)}, {"objective", text()}, {"lateral_share", number()}, {"cycle_years", whole()}, {"note", text()},
		{"visits", listOf(loose([]string{"number"}, member{"number", whole()}, member{"dose", number()}, member{"after_years", whole()}))},
		{"add", listOf(structure(member{"visit", whole()}, member{"item", item}))},
		{"reason", text().with(member{"description", "For going against a rule; kept with who gave it"})},
	}
}

func programmeBody() []member {
	figures := object{{"oneOf", []object{number(), listOf(number())}}}
	return []member{
		{"name", text()}, {"keep", boolean().with(member{"default", true})}, {"from", object{{"type", "string"}, {"format", "date"}}}, {"years", wholeFrom(1, programme.MaxYears)},
		{"measure", words(programme.Money, programme.Hours)}, {"budget", figures}, {"must", listOf(text())}, {"must_due", whole()},
		{"pins", listOf(structure(member{"tag", text()}, member{"year", whole()}))}, {"cycle", whole()}, {"least_harm", number()}, {"must_rating", words("moderate", "high", "extreme")},
	}
}

func completionBody(day func() object) []member {
	cut := loose([]string{"kind"}, append([]member{{"kind", words(inventory.CutKinds...)}, {"count", whole()}, {"on_cut", whole()}, {"gone", boolean()}},
		named(number, "diameter_cm lateral_diameter_cm stub_length_cm height_m bearing_deg reach_m regrowth_left_m")...)...)
	position := loose([]string{"longitude", "latitude", "accuracy_m", "at"}, append([]member{{"at", object{{"type", "string"}, {"format", "date-time"}}}}, named(number, "longitude latitude accuracy_m")...)...).
		with(member{"description", "Where the device was, by WGS 84, with the radius in metres that it gives with 95 % confidence (W3C Geolocation)"})
	return append([]member{
		{"on", day()}, {"position", position}, {"cuts", listOf(cut)}, {"note", text()}, {"removed", boolean()}, {"finished", boolean()},
		{"deviations", listOf(structure(member{"what", text()}, member{"reason", text()}))},
	}, named(number, "dose hours height_m crown_radius_m")...)
}

func appraisalBody() []member {
	return append([]member{{"method", words(appraisal.TrunkFormula, appraisal.TrunkFormula9)}, {"on", object{{"type", "string"}, {"format", "date"}}}, {"currency", text()}},
		named(number, "diameter_cm nursery_cost nursery_diameter_cm health structure form functional_limits external_limits installed_cost replacement_diameter_cm unit_cost_per_cm2 species_rating condition_rating location_rating")...)
}
