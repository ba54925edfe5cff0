package api

import (
	"encoding/json"
	"fmt"
	"strconv"
	"unicode/utf8"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// The functions here append JSON to a buffer. A page is thousands of features
// of dozens of values; written this way they cost no reflection and no memory.

const hexDigits = "0123456789abcdef"

// plain marks the bytes that stand for themselves inside a JSON string.
var plain = func() (t [256]bool) {
	for c := 0x20; c < utf8.RuneSelf; c++ {
		t[c] = c != '"' && c != '\\' && c != 0x7f
	}
	return t
}()

// appendString appends a JSON string. Bytes that are not UTF-8 become U+FFFD.
func appendString[T ~string | ~[]byte](dst []byte, s T) []byte {
	dst = append(dst, '"')
	from := 0
	for i := 0; i < len(s); {
		c := s[i]
		if plain[c] {
			i++
			continue
		}
		if c >= utf8.RuneSelf {
			r, size := utf8.DecodeRuneInString(string(s[i:min(i+utf8.UTFMax, len(s))]))
			if r == utf8.RuneError && size == 1 {
				dst = append(dst, s[from:i]...)
				dst = append(dst, `\ufffd`...)
				from = i + 1
			}
			i += size
			continue
		}
		dst = append(dst, s[from:i]...)
		switch c {
		case '"', '\\':
			dst = append(dst, '\\', c)
		case '\n':
			dst = append(dst, '\\', 'n')
		case '\r':
			dst = append(dst, '\\', 'r')
		case '\t':
			dst = append(dst, '\\', 't')
		default:
			dst = append(dst, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		}
		i++
		from = i
	}
	dst = append(dst, s[from:]...)
	return append(dst, '"')
}

func appendBool(dst []byte, v bool) []byte { return strconv.AppendBool(dst, v) }

// appendTexts appends an array of strings.
func appendTexts[T ~string | ~[]byte](dst []byte, list []T) []byte {
	dst = append(dst, '[')
	for i, s := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = appendString(dst, s)
	}
	return append(dst, ']')
}

const instantLayout = "2006-01-02T15:04:05.000Z07:00"

// appendValue appends a value as its property's type is served.
func appendValue(dst []byte, p *inventory.Property, v *inventory.Value) []byte {
	if v.Null {
		return append(dst, "null"...)
	}
	switch p.Type {
	case inventory.Integer:
		return strconv.AppendInt(dst, v.Int, 10)
	case inventory.Boolean:
		return appendBool(dst, v.Int != 0)
	case inventory.Number:
		return appendReal(dst, v.Float, p.Decimals)
	case inventory.Date:
		return append(v.Time.AppendFormat(append(dst, '"'), "2006-01-02"), '"')
	case inventory.Timestamp:
		return append(v.Time.AppendFormat(append(dst, '"'), instantLayout), '"')
	case inventory.TextList:
		return appendTexts(dst, v.List)
	case inventory.Object:
		return append(dst, v.Bytes...)
	}
	return appendString(dst, v.Bytes)
}

// appendReal appends a number that may have decimals, with one where it has none:
// clients take a column's type from the first values they see, and QGIS 3.22 cuts
// the decimals off whatever follows whole numbers.
func appendReal(dst []byte, v float64, decimals int) []byte {
	start := len(dst)
	dst = appendFloat(dst, v, decimals)
	for _, c := range dst[start:] {
		if c == '.' || c == 'n' { // null
			return dst
		}
	}
	return append(dst, '.', '0')
}

// appendAny appends any value that a property of an answer may have.
func appendAny(dst []byte, v any) []byte {
	switch v := v.(type) {
	case nil:
		return append(dst, "null"...)
	case string:
		return appendString(dst, v)
	case bool:
		return appendBool(dst, v)
	case int:
		return strconv.AppendInt(dst, int64(v), 10)
	case int64:
		return strconv.AppendInt(dst, v, 10)
	case uint64:
		return strconv.AppendUint(dst, v, 10)
	case json.RawMessage:
		return append(dst, v...)
	case []ranking.Property:
		return append(appendProperties(append(dst, '{'), v), '}')
	case [][]ranking.Property:
		return appendObjects(dst, v)
	case float64:
		return appendFloat(dst, v, 12)
	case []string:
		return appendTexts(dst, v)
	case []float64:
		return appendList(dst, v)
	case []int:
		return appendList(dst, v)
	}
	panic(fmt.Sprintf("a property is a %T", v))
}

// appendObjects appends an array of objects.
func appendObjects(dst []byte, list [][]ranking.Property) []byte {
	dst = append(dst, '[')
	for i, properties := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(appendProperties(append(dst, '{'), properties), '}')
	}
	return append(dst, ']')
}

func appendList[T int | float64](dst []byte, list []T) []byte {
	dst = append(dst, '[')
	for i, v := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = appendAny(dst, v)
	}
	return append(dst, ']')
}
