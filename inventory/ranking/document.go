package ranking

import (
	"encoding/json"
	"strconv"
)

// AppendJSON appends the row as one JSON object: its properties in their order,
// then where it stands. The same row always gives the same bytes.
func (r *Row) AppendJSON(b []byte) ([]byte, error) {
	properties := append(r.Properties(), Property{"longitude", r.Point[0]}, Property{"latitude", r.Point[1]}, Property{"tree_id", int(r.Tree)})
	b = append(b, '{')
	for i, p := range properties {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendQuote(b, p.Name)
		b = append(b, ':')
		v, err := json.Marshal(p.Value)
		if err != nil {
			return nil, err
		}
		b = append(b, v...)
	}
	return append(b, '}'), nil
}
