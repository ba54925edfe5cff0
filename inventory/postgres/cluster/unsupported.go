//go:build !linux

package cluster

import (
	"context"
	"errors"
)

var errUnsupported = errors.New("the private cluster runs on Linux only: name a database with --database")

// Lease is never given out on this system.
type Lease struct{}

// Acquire fails: the keeper leans on Linux's parent-death signal and /proc.
func Acquire(context.Context, Options) (*Lease, error) { return nil, errUnsupported }

// MaybeKeep does nothing on this system.
func MaybeKeep() {}

// URL returns the empty string.
func (*Lease) URL() string { return "" }

// Release does nothing.
func (*Lease) Release() error { return nil }

// WaitStopped does nothing.
func (*Lease) WaitStopped(context.Context) error { return nil }
