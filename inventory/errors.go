package inventory

import (
	"errors"
	"fmt"
	"runtime/debug"
)

// ErrorKind sorts errors by what the person who meets one can do about it. The
// edges map it to an exit status or an HTTP status, once.
type ErrorKind uint8

// The kinds of error.
const (
	Internal    ErrorKind = iota // a fault of ours; the detail goes to the log
	Invalid                      // the request or the data is wrong; say what to mend
	NotFound                     // no such thing
	Conflict                     // it was changed in the meantime, or exists already
	Unavailable                  // the database cannot be reached just now; try again
)

// Error is an error with a kind and a message fit to be read by a person.
type Error struct {
	Kind    ErrorKind
	Message string // what was given, what was expected, what to do
	Field   string // the property of a feature that is at fault, where it is one
	Err     error  // the cause, already part of the message; may be nil
}

func (e *Error) Error() string { return e.Message }

func (e *Error) Unwrap() error { return e.Err }

// Errorf makes an error of a kind. A %w verb keeps the cause for errors.Is.
func Errorf(kind ErrorKind, format string, args ...any) error {
	err := fmt.Errorf(format, args...)
	return &Error{Kind: kind, Message: err.Error(), Err: errors.Unwrap(err)}
}

// FieldErrorf makes an error of kind Invalid about one property of a feature.
func FieldErrorf(field, format string, args ...any) error {
	return &Error{Kind: Invalid, Message: field + " " + fmt.Sprintf(format, args...), Field: field}
}

// FieldOf returns the property that err is about; empty for none.
func FieldOf(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Field
	}
	return ""
}

// KindOf returns the kind of err: that of the first *Error in its chain, or
// Internal.
func KindOf(err error) ErrorKind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// Recover, deferred, makes a panic the error of the function that it ends, with
// the stack. Nothing above a goroutine can do that for it, nor for what
// singleflight and errgroup run: there a panic ends the process.
func Recover(err *error) {
	if v := recover(); v != nil {
		*err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
	}
}
