package inventory

import "time"

// HistoryQuery asks for the versions of one feature.
type HistoryQuery struct {
	Client     ClientID
	Collection *Collection
	ID         int64
	Below      Opt[int64] // only versions of lower numbers
	Limit      int        // 0 for all
}

// Version is a feature as it stood from one edit of it to the next.
type Version struct {
	Number int64
	From   time.Time
	By     string // who made it so
	// Feature has the values of what is stored of it, null for all else; the
	// geometry where that is its own.
	Feature Feature
	// Gone is how it ended where it was deleted.
	Gone Opt[Ending]
}

// Ending is how a feature was deleted.
type Ending struct {
	At time.Time
	By string
}

// DeletedQuery asks for the features of a site that were deleted lately and have
// not been brought back.
type DeletedQuery struct {
	Client     ClientID
	Collection *Collection
	Site       SiteID
	Since      time.Time
	Limit      int
}

// DeletedFeature is one of them; PutBack with its version brings it back.
type DeletedFeature struct {
	ID, Version int64
	Name        string // what it is known by; empty where it has neither tag, name nor source id
	Ending
}
