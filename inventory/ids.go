package inventory

// ClientID names whose data a row is; it leads every key.
type ClientID int32

// The identities of the rows of a client. They are positive once stored; zero
// means "not stored yet".
type (
	SiteID   int64
	TreeID   int64
	CutID    int64
	VisitID  int64
	TargetID int64
	ImportID int64
)

// DefaultClient is the client that every inventory starts with.
const DefaultClient = "default"

// Opt is a value that may be missing, such as a height that nobody measured.
type Opt[T any] struct {
	V  T
	OK bool
}

// Some returns a value that is there.
func Some[T any](v T) Opt[T] { return Opt[T]{V: v, OK: true} }

// Or returns the value, or other where it is missing.
func (o Opt[T]) Or(other T) T {
	if o.OK {
		return o.V
	}
	return other
}
