package api

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// Preconditions of requests (RFC 9110, 13).

// listsTag reports whether a list of tags names one, in any content coding. Compared
// strongly, a weak tag matches nothing (13.1.1).
func listsTag(list, tag string, weakly bool) bool {
	for _, item := range strings.Split(list, ",") {
		item = strings.TrimSpace(item)
		if item == "*" {
			return true
		}
		if weakly {
			item = strings.TrimPrefix(item, "W/")
		}
		item, quoted := strings.CutPrefix(item, `"`)
		item, _, _ = strings.Cut(strings.TrimSuffix(item, `"`), "+")
		if (quoted || weakly) && item == tag {
			return true
		}
	}
	return false
}

// taggedVersions reads the versions that a list of features' tags names; any is for
// whatever is there. What is compared is the version of what is stored: the rest of
// a tag tells representations of it apart, which an edit is none of.
func taggedVersions(fields []string, weakly bool) (versions []int64, any bool) {
	for _, tag := range strings.Split(strings.Join(fields, ","), ",") {
		tag = strings.TrimSpace(tag)
		if tag == "*" {
			return nil, true
		}
		if weakly {
			tag = strings.TrimPrefix(tag, "W/")
		}
		tag, quoted := strings.CutPrefix(tag, `"`)
		number, _, dotted := strings.Cut(tag, ".")
		if v, err := strconv.ParseInt(number, 10, 64); err == nil && dotted && (quoted || weakly) {
			versions = append(versions, v)
		}
	}
	return versions, false
}

// checkMatch refuses a request whose If-Match does not name the tag of what is
// there.
func checkMatch(r *http.Request, tag string) error {
	if fields := r.Header.Values("If-Match"); len(fields) > 0 && !listsTag(strings.Join(fields, ","), tag, false) {
		return &statusError{http.StatusPreconditionFailed, `this is at the ETag "` + tag + `", which If-Match does not name: read it again`}
	}
	return nil
}

// checkPreconditions looks at If-Match and If-None-Match of a request that changes
// something; tag is that of what is there, if anything is.
func checkPreconditions(r *http.Request, tag inventory.Opt[string]) error {
	if !tag.OK {
		if len(r.Header.Values("If-Match")) > 0 {
			return &statusError{http.StatusPreconditionFailed, "there is none yet, and If-Match asks for one"}
		}
		return nil
	}
	if err := checkMatch(r, tag.V); err != nil {
		return err
	}
	if tagListed(strings.Join(r.Header.Values("If-None-Match"), ","), tag.V) {
		return &statusError{http.StatusPreconditionFailed, `this is at the ETag "` + tag.V + `", which If-None-Match excludes`}
	}
	return nil
}
