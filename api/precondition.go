package api

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// Preconditions of requests (RFC 9110, 13).

// namesTag reports whether If-Match names a tag, in any content coding. A weak tag
// matches nothing (13.1.1).
func namesTag(fields []string, tag string) bool {
	for _, item := range strings.Split(strings.Join(fields, ","), ",") {
		item = strings.TrimSpace(item)
		if item == "*" {
			return true
		}
		item, quoted := strings.CutPrefix(item, `"`)
		item, _, _ = strings.Cut(strings.TrimSuffix(item, `"`), "+")
		if quoted && item == tag {
			return true
		}
	}
	return false
}

// checkMatch refuses a request whose If-Match does not name the tag of what is
// there.
func checkMatch(r *http.Request, tag string) error {
	if fields := r.Header.Values("If-Match"); len(fields) > 0 && !namesTag(fields, tag) {
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

// excludedVersions reads the versions that If-None-Match names; all is for
// whatever is there. Tags are compared weakly (13.1.2), by their versions.
func excludedVersions(fields []string) (versions []int64, all bool) {
	for _, tag := range strings.Split(strings.Join(fields, ","), ",") {
		tag = strings.TrimSpace(tag)
		if tag == "*" {
			return nil, true
		}
		number, _, dotted := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(tag, "W/"), `"`), ".")
		if v, err := strconv.ParseInt(number, 10, 64); err == nil && dotted {
			versions = append(versions, v)
		}
	}
	return versions, false
}
