package inventory

import (
	"context"
	"time"
)

// QuarantineRow is a record that an import held back.
type QuarantineRow struct {
	ID       int64     `json:"id"`
	Site     string    `json:"site"`
	Role     Role      `json:"as"`
	FileName string    `json:"file"`
	Record   int64     `json:"record"`
	Field    string    `json:"field,omitempty"`
	Reason   string    `json:"reason"`
	Text     string    `json:"row"`
	Format   string    `json:"format"`
	HeldAt   time.Time `json:"held_at"`
	// Mapping is how the import that held the row read it.
	Mapping []byte `json:"-"`
}

// QuarantineFilter narrows a listing; zero values mean "any".
type QuarantineFilter struct {
	Site     string
	FileName string
	IDs      []int64
	Limit    int // 0 for all
}

// QuarantineStore lists and settles held records.
type QuarantineStore interface {
	FindQuarantined(ctx context.Context, client ClientID, f QuarantineFilter) ([]QuarantineRow, error)
	// CountQuarantined counts what a filter lets through, whatever its limit.
	CountQuarantined(ctx context.Context, client ClientID, f QuarantineFilter) (int64, error)
	// DropQuarantined settles records that nobody wants; their rows are kept.
	DropQuarantined(ctx context.Context, client ClientID, ids []int64) (int64, error)
}
