package api

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"sync"
	"time"

	"github.com/underbough/underbough/inventory"
)

// uploads are the files that clients have sent and not yet forgotten. What they are
// is held in memory: a service that is started again knows nothing of the files of
// the one before.
type uploads struct {
	*Server
	mu    sync.Mutex
	files map[string]*upload
	sites map[string]bool // into which something is being loaded
	going sync.WaitGroup  // runs in hand
	ended bool            // no more runs
}

// upload is one file.
type upload struct {
	id, name, path string
	bytes          int64
	touched        time.Time
	look           *ImportLook
	run            *importRun // the last one, or the one in hand
}

func newUploads(s *Server) *uploads {
	if !s.config.Edit || s.config.Importer == nil {
		return nil
	}
	return &uploads{Server: s, files: make(map[string]*upload), sites: make(map[string]bool)}
}

// receive keeps a request's body in a file of its own.
func (u *uploads) receive(w http.ResponseWriter, r *http.Request, name string) (*upload, error) {
	most := u.config.UploadBytes
	large := &statusError{http.StatusRequestEntityTooLarge, fmt.Sprintf("the file is larger than %.1f MiB, which is the most that this service takes: load it with the command line, or have the limit raised (serve --upload-limit)", float64(most)/(1<<20))}
	if r.ContentLength > most {
		w.Header().Set("Connection", "close")
		if r.Header.Get("Expect") == "" {
			io.CopyN(io.Discard, r.Body, droppedBytes) // so that the client reads why
		}
		return nil, large
	}
	file, err := os.CreateTemp(u.config.UploadDir, "upload-")
	if err != nil {
		return nil, fmt.Errorf("keep a file that is sent: %w", err)
	}
	one := &upload{id: rand.Text(), name: name, path: file.Name(), touched: u.config.Now()}
	one.bytes, err = io.Copy(file, io.LimitReader(&slowly{r.Body, http.NewResponseController(w), u.config.StallTimeout}, most+1))
	if closed := file.Close(); err == nil {
		err = closed
	}
	switch {
	case err != nil && (errors.Is(err, io.ErrUnexpectedEOF) || r.Context().Err() != nil || os.IsTimeout(err)):
		err = &statusError{http.StatusBadRequest, "the file broke off while it was sent: " + err.Error()}
	case err == nil && one.bytes > most:
		w.Header().Set("Connection", "close")
		err = large
	case err == nil && one.bytes == 0:
		err = invalid("the file is empty")
	}
	if err == nil {
		err = one.read(func(f io.Reader) (err error) {
			one.look, err = u.config.Importer.Look(f, name)
			return err
		})
	}
	if err == nil {
		err = u.add(one)
	}
	// The file may have taken longer to come than a request may.
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(u.config.StallTimeout))
	if err != nil {
		os.Remove(one.path)
		return nil, err
	}
	return one, nil
}

// slowly reads a body that may take as long as it likes, if only something comes.
type slowly struct {
	body    io.Reader
	control *http.ResponseController
	stall   time.Duration
}

func (s *slowly) Read(p []byte) (int, error) {
	s.control.SetReadDeadline(time.Now().Add(s.stall))
	return s.body.Read(p)
}

// read opens the file for a function.
func (one *upload) read(with func(io.Reader) error) error {
	f, err := os.Open(one.path)
	if err != nil {
		return fmt.Errorf("read a file that was sent: %w", err)
	}
	defer f.Close()
	return with(f)
}

func (u *uploads) add(one *upload) error {
	u.sweep()
	u.mu.Lock()
	defer u.mu.Unlock()
	if len(u.files) >= mostUploads {
		return inventory.Errorf(inventory.Conflict, "%d files are kept here already: load one of them or have it forgotten first", mostUploads)
	}
	u.files[one.id] = one
	return nil
}

// find returns a file, which is then kept for another day.
func (u *uploads) find(id string) (*upload, error) {
	u.sweep()
	u.mu.Lock()
	defer u.mu.Unlock()
	one, ok := u.files[id]
	if !ok {
		return nil, inventory.Errorf(inventory.NotFound, "there is no file %.60q here: files are forgotten when the service is started again, and after a day; what was not loaded to its end has changed nothing", id)
	}
	one.touched = u.config.Now()
	return one, nil
}

// forget stops what is being done with a file and deletes it.
func (u *uploads) forget(one *upload) {
	u.stop(one)
	u.mu.Lock()
	defer u.mu.Unlock()
	delete(u.files, one.id)
	os.Remove(one.path)
}

// sweep deletes the files that nobody has asked about for a day.
func (u *uploads) sweep() {
	u.mu.Lock()
	defer u.mu.Unlock()
	for id, one := range u.files {
		if u.config.Now().Sub(one.touched) > uploadAge && !one.running() {
			delete(u.files, id)
			os.Remove(one.path)
		}
	}
}

// uploadName is the name of a file as it is kept: without any path.
func uploadName(given string) (string, error) {
	if given == "" {
		return "", &parameterError{"name", "is missing: expected the name of the file, such as trees.csv"}
	}
	return photoName(given, "")
}
