package api

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"sync"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
)

// storageCRS is the reference system that geometries are stored in.
var storageCRS = crs.CRS84

// worldwide are the reference systems that every collection is served in.
var worldwide = func() []crs.Reference {
	list := []crs.Reference{crs.CRS84}
	for _, code := range []int{crs.WGS84, crs.Mercator} {
		r, err := crs.EPSG(code)
		if err != nil {
			panic(err)
		}
		list = append(list, r)
	}
	return list
}()

// knownReferences remembers the reference systems of the sites as long as
// nothing changes.
type knownReferences struct {
	sync.Mutex
	state string
	list  []crs.Reference
}

// references lists the reference systems that collections are served in (OGC API
// - Features - Part 2): those of the whole world, longitude and latitude first,
// and each site's own.
func (s *Server) references(ctx context.Context) ([]crs.Reference, error) {
	state, err := s.state(ctx)
	if err != nil {
		return nil, err
	}
	k := &s.siteCRS
	k.Lock()
	list := k.list
	if k.state != state {
		list = nil
	}
	k.Unlock()
	if list != nil {
		return list, nil
	}
	if list, err = s.findReferences(ctx); err != nil {
		return nil, err
	}
	k.Lock()
	defer k.Unlock()
	k.state, k.list = state, list
	return list, nil
}

func (s *Server) findReferences(ctx context.Context) ([]crs.Reference, error) {
	sites, err := s.config.Store.SiteReferences(ctx, s.config.Client)
	if err != nil {
		return nil, err
	}
	list := slices.Clone(worldwide)
	seen := map[int]bool{crs.WGS84: true, crs.Mercator: true}
	for _, site := range sites {
		if seen[site.SRID] {
			continue
		}
		seen[site.SRID] = true
		ref, err := crs.EPSG(site.SRID)
		if err == nil {
			var known bool
			if known, err = s.config.Store.KnownSRID(ctx, site.SRID); err != nil {
				return nil, err
			} else if !known {
				err = inventory.Errorf(inventory.Invalid, "the database does not know EPSG:%d", site.SRID)
			}
		}
		if err != nil {
			s.config.Log.Warn("a site's reference system is not served", "site", site.Site, "error", err)
			continue
		}
		list = append(list, ref)
	}
	return list, nil
}

// servedCRS finds a reference system by its identifier among those that are
// served. What is wrong with it is the answer's second part.
func (s *Server) servedCRS(ctx context.Context, given string) (ref crs.Reference, wrong string, err error) {
	ref, perr := crs.Parse(given)
	if perr == nil && slices.Contains(worldwide, ref) {
		return ref, "", nil
	}
	list, err := s.references(ctx)
	if err != nil {
		return ref, "", err
	}
	if perr == nil && slices.Contains(list, ref) {
		return ref, "", nil
	}
	names := make([]string, len(list))
	for i, r := range list {
		names[i] = r.URI()
	}
	return ref, "not served here: expected one of " + strings.Join(names, ", "), nil
}

// parseCRS reads a parameter that names a reference system: crs, bbox-crs or
// filter-crs. Without it longitude and latitude are meant.
func (s *Server) parseCRS(ctx context.Context, p params, name string) (crs.Reference, error) {
	given, ok := p[name]
	if !ok {
		return crs.CRS84, nil
	}
	ref, wrong, err := s.servedCRS(ctx, given)
	if err == nil && wrong != "" {
		err = paramError(name, given, wrong)
	}
	return ref, err
}

// contentCRS reads the header Content-Crs of a request: what the coordinates of
// its body are in. Some clients leave out the angle brackets.
func (s *Server) contentCRS(r *http.Request) (crs.Reference, error) {
	given := r.Header.Get("Content-Crs")
	if given == "" {
		return crs.CRS84, nil
	}
	ref, wrong, err := s.servedCRS(r.Context(), given)
	if err == nil && wrong != "" {
		err = &statusError{http.StatusBadRequest, "header Content-Crs: " + given + ": " + wrong}
	}
	return ref, err
}

// writeContentCRS says what the coordinates of an answer are in.
func writeContentCRS(w http.ResponseWriter, ref crs.Reference) {
	w.Header().Set("Content-Crs", "<"+ref.URI()+">")
}
