package postgres

import "github.com/jackc/pgx/v5/pgxpool"

// SetStripeVertices lets a test cut a small site into many stripes.
func (db *DB) SetStripeVertices(n int64) { db.stripeVertices = n }

// Pool lets a test speak SQL as a desktop GIS would.
func (db *DB) Pool() *pgxpool.Pool { return db.pool }

// HarmsRead is how often a list of harms was read.
func (db *DB) HarmsRead() int {
	db.harmLists.Lock()
	defer db.harmLists.Unlock()
	return db.harmLists.read
}

// GatheredRead is how often all trees of a site were read into memory.
func (db *DB) GatheredRead() int {
	db.gathered.mu.Lock()
	defer db.gathered.mu.Unlock()
	return db.gathered.read
}

// PutColumns is what putting back writes, by table.
var PutColumns = putColumns
