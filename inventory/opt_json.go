package inventory

import "encoding/json"

// MarshalJSON writes the value, or null where it is missing.
func (o Opt[T]) MarshalJSON() ([]byte, error) {
	if !o.OK {
		return []byte("null"), nil
	}
	return json.Marshal(o.V)
}

// UnmarshalJSON reads a value; null is a missing one.
func (o *Opt[T]) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*o = Opt[T]{}
		return nil
	}
	o.OK = true
	return json.Unmarshal(b, &o.V)
}

// IsZero reports whether the value is missing, for omitzero.
func (o Opt[T]) IsZero() bool { return !o.OK }
