package question

// Cautions stands under everything that someone could act on.
const Cautions = "Screening from records and geometry, not an inspection: a qualified arborist inspects before any cutting. " +
	"Check electrical clearance, local codes and permits, and nesting first. What to accept is the owner's decision."

// Caution is the same in short, for each row of a table, which has no room for a
// note beside its rows and is passed on without one.
const Caution = "screening only: a qualified arborist inspects before any cutting; check electric lines, permits and nesting first"
