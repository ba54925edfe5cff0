package api

import (
	"mime"
	"strconv"
	"strings"
)

// acceptance returns how welcome a media type is by the Accept fields of a
// request, 0 to 1; the most exact range decides (RFC 9110, section 12.5.1).
func acceptance(fields []string, mediaType string) float64 {
	if len(fields) == 0 {
		return 1
	}
	main, _, _ := strings.Cut(mediaType, "/")
	exactness, q := 0, 0.0
	for _, part := range strings.Split(strings.Join(fields, ","), ",") {
		name, attributes, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		exact := map[string]int{mediaType: 3, main + "/*": 2, "*/*": 1}[name]
		if exact <= exactness {
			continue
		}
		exactness, q = exact, 1
		if given, ok := attributes["q"]; ok {
			if q, err = strconv.ParseFloat(given, 64); err != nil {
				q = 0
			}
		}
	}
	return q
}
