package api

import (
	"net/http"
	"time"
)

// flushBytes is how much of an answer goes out at a time: what the server
// keeps of it does not grow with its length.
const flushBytes = 32 << 10

// stream writes a long answer as it comes. Append to buf, then call push; until
// the first push is through, an error can still be answered as one.
type stream struct {
	w       http.ResponseWriter
	control *http.ResponseController
	stall   time.Duration
	buf     []byte
}

func (s *Server) newStream(w http.ResponseWriter) *stream {
	return &stream{w: w, control: http.NewResponseController(w), stall: s.config.StallTimeout, buf: make([]byte, 0, flushBytes+8<<10)}
}

// push sends what has gathered, if it is enough.
func (o *stream) push() error {
	if len(o.buf) < flushBytes {
		return nil
	}
	if err := o.send(); err != nil {
		return err
	}
	return o.control.Flush()
}

// send sends what has gathered. The client must take it within the time a
// client may stall.
func (o *stream) send() error {
	if err := o.control.SetWriteDeadline(time.Now().Add(o.stall)); err != nil {
		return err
	}
	_, err := o.w.Write(o.buf)
	o.buf = o.buf[:0]
	return err
}
