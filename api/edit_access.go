package api

import (
	"crypto/sha256"
	"crypto/subtle"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// EditKey lets whoever has the key edit, under a name that the history keeps.
type EditKey struct{ Name, Key string }

// anyone is whom the history names where no keys are asked for and nobody says who
// they are.
const anyone = "service"

// writer decides whether a request may edit, and returns whom the history is to
// name. Without keys everyone who reaches the service may, but no page of another
// site that a visitor's browser happens to show.
func (s *Server) writer(w http.ResponseWriter, r *http.Request) (string, error) {
	if err := s.checkOrigin(r); err != nil {
		return "", err
	}
	if len(s.config.EditKeys) == 0 {
		return anyone, s.checkHost(r)
	}
	if name, ok := s.keyName(r); ok {
		return name, nil
	}
	w.Header().Add("WWW-Authenticate", `Bearer realm="edit"`)
	// A browser would ask for a name and a password over the page that made the
	// request, which asks for the key itself (Fetch Metadata tells of those).
	if mode := r.Header.Get("Sec-Fetch-Mode"); mode == "" || mode == "navigate" {
		w.Header().Add("WWW-Authenticate", `Basic realm="edit", charset="UTF-8"`)
	}
	return "", &statusError{http.StatusUnauthorized, "editing here needs a key: send Authorization: Bearer KEY, or the key as the password of Basic"}
}

// keyName finds the key that a request brings. It looks at all of them for the
// same time, right or wrong.
func (s *Server) keyName(r *http.Request) (name string, ok bool) {
	scheme, given, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	switch {
	case strings.EqualFold(scheme, "Basic"):
		_, given, _ = r.BasicAuth()
	case !strings.EqualFold(scheme, "Bearer"):
		return "", false
	}
	sum := sha256.Sum256([]byte(strings.TrimSpace(given)))
	for _, k := range s.config.EditKeys {
		want := sha256.Sum256([]byte(k.Key))
		if subtle.ConstantTimeCompare(sum[:], want[:]) == 1 {
			name, ok = k.Name, true
		}
	}
	return name, ok
}

// checkOrigin keeps pages of other sites from editing: a browser names the page's
// origin with every request that could change something.
func (s *Server) checkOrigin(r *http.Request) error {
	origin := r.Header.Get("Origin")
	if origin == "" || s.ownOrigin(r, origin) {
		return nil
	}
	return &statusError{http.StatusForbidden, "pages of " + origin + " may not edit here: serve with --edit-origin " + origin + " to let them"}
}

func (s *Server) ownOrigin(r *http.Request, origin string) bool {
	for _, o := range s.config.EditOrigins {
		if strings.EqualFold(strings.TrimRight(o, "/"), origin) {
			return true
		}
	}
	own, err := url.Parse(s.base(r))
	return err == nil && strings.EqualFold(origin, own.Scheme+"://"+own.Host)
}

// checkHost keeps a page from editing whose own name was made to point at this
// service (DNS rebinding): to the browser it is then of the same origin, but it
// asks for that name. An address is nobody's name.
func (s *Server) checkHost(r *http.Request) error {
	name := r.Host
	if host, _, err := net.SplitHostPort(r.Host); err == nil {
		name = host
	}
	name = strings.ToLower(strings.Trim(strings.TrimSuffix(name, "."), "[]"))
	if _, err := netip.ParseAddr(name); err == nil || name == "localhost" || strings.HasSuffix(name, ".localhost") {
		return nil
	}
	if s.public != nil && strings.EqualFold(r.Host, s.public.Host) {
		return nil
	}
	return &statusError{http.StatusForbidden, "the request is for the host " + r.Host + ", which this service does not know as its own: give it with --public-url, or reach the service by its address, to edit"}
}

// checkEditing reports what is wrong with the configuration of editing.
func (c Config) checkEditing() error {
	for _, o := range c.EditOrigins {
		u, err := url.Parse(o)
		if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" {
			return inventory.Errorf(inventory.Invalid, "edit origin %q: expected https://host or https://host:port", o)
		}
	}
	seen := make(map[string]bool)
	for _, k := range c.EditKeys {
		switch {
		case k.Name == "" || len(k.Key) < 16:
			return inventory.Errorf(inventory.Invalid, "edit key of %q: expected a name and a key of 16 characters or more", k.Name)
		case seen[k.Key]:
			return inventory.Errorf(inventory.Invalid, "edit key of %q: another name has the same", k.Name)
		}
		seen[k.Key] = true
	}
	return nil
}
