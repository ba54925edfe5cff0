// Package migrations carries the numbered SQL that makes and changes the
// schema. It holds nothing else; inventory/postgres applies it.
package migrations

import "embed"

// FS holds the migrations, in the form goose reads.
//
//go:embed *.sql
var FS embed.FS
