package api

import (
	"encoding/json"
	"reflect"
	"testing"
)

// The example test cases of RFC 7396, appendix A, all of them, in its order.
func TestMergePatch(t *testing.T) {
	for _, c := range [][3]string{
		{`{"a":"b"}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"b"}`, `{"b":"c"}`, `{"a":"b","b":"c"}`},
		{`{"a":"b"}`, `{"a":null}`, `{}`},
		{`{"a":"b","b":"c"}`, `{"a":null}`, `{"b":"c"}`},
		{`{"a":["b"]}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"c"}`, `{"a":["b"]}`, `{"a":["b"]}`},
		{`{"a":{"b":"c"}}`, `{"a":{"b":"d","c":null}}`, `{"a":{"b":"d"}}`},
		{`{"a":[{"b":"c"}]}`, `{"a":[1]}`, `{"a":[1]}`},
		{`["a","b"]`, `["c","d"]`, `["c","d"]`},
		{`{"a":"b"}`, `["c"]`, `["c"]`},
		{`{"a":"foo"}`, `null`, `null`},
		{`{"a":"foo"}`, `"bar"`, `"bar"`},
		{`{"e":null}`, `{"a":1}`, `{"a":1,"e":null}`},
		{`[1,2]`, `{"a":"b","c":null}`, `{"a":"b"}`},
		{`{}`, `{"a":{"bb":{"ccc":null}}}`, `{"a":{"bb":{}}}`},
	} {
		target, patch := mustRead(t, c[0]), mustRead(t, c[1])
		if got := string(appendTree(nil, mergePatch(target, patch))); got != c[2] {
			t.Errorf("%s with %s: %s, expected %s", c[0], c[1], got, c[2])
		}
		if string(appendTree(nil, target)) != c[0] {
			t.Errorf("%s was changed", c[0])
		}
	}
}

func mustRead(t *testing.T, s string) any {
	t.Helper()
	v, err := readJSON([]byte(s))
	if err != nil {
		t.Fatal(s, err)
	}
	return v
}

// What is read and written again is the same JSON to another reader.
func FuzzReadJSON(f *testing.F) {
	for _, s := range []string{`{"a":[1,2.50,-1e9,"é\u0000\n",true,null,{}],"":{}}`, `[]`, `"\ud83d\ude00"`, `{"a":1,"a":2}`, `[[[`, "\xff", `12345678901234567890.5`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		v, err := readJSON(b)
		if err != nil {
			return
		}
		var want, got any
		if err := json.Unmarshal(b, &want); err != nil {
			return // a number that is out of the range of the other
		}
		if err := json.Unmarshal(appendTree(nil, v), &got); err != nil || !reflect.DeepEqual(want, got) {
			t.Errorf("%q: %v, %v (%v)", b, want, got, err)
		}
	})
}
