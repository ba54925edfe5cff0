package pruning

// Rule names a rule of specification.
type Rule string
