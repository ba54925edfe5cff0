package question

// Cautions stands under everything that someone could act on.
const Cautions = "Screening from records and geometry, not an inspection: a qualified arborist inspects before any cutting. " +
	"Check electrical clearance, local codes and permits, and nesting first. What to accept is the owner's decision."
