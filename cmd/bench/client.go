package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"
)

// connections is how many clients ask at the same time.
const connections = 8

// asker is one client: it says what to ask next, given the answer to what it
// asked before; nil the first time.
type asker func(answer []byte) (path string)

// conn is one connection that is kept. It writes requests itself: a client takes
// processor time from what is measured, and should take little.
type conn struct {
	net.Conn
	at      string
	in      *bufio.Reader
	request []byte
	body    bytes.Buffer
	header  http.Header // of the last answer
}

func dial(at string) (*conn, error) {
	c, err := net.Dial("tcp", at)
	if err != nil {
		return nil, err
	}
	return &conn{Conn: c, at: at, in: bufio.NewReaderSize(c, 64<<10)}, nil
}

// get asks and reads the whole body, which is valid until the next call. more is
// header lines; each ends with CRLF.
func (c *conn) get(path, more string) (status int, body []byte, err error) {
	c.request = fmt.Appendf(c.request[:0], "GET %s HTTP/1.1\r\nHost: %s\r\n%s\r\n", path, c.at, more)
	if _, err := c.Write(c.request); err != nil {
		return 0, nil, err
	}
	r, err := http.ReadResponse(c.in, nil)
	if err != nil {
		return 0, nil, err
	}
	defer r.Body.Close()
	c.header = r.Header
	c.body.Reset()
	_, err = io.Copy(&c.body, r.Body)
	return r.StatusCode, c.body.Bytes(), err
}

// once asks once over a connection of its own.
func once(at, path string) ([]byte, error) {
	c, err := dial(at)
	if err != nil {
		return nil, err
	}
	defer c.Close()
	status, body, err := c.get(path, "")
	if err == nil && status != http.StatusOK {
		err = fmt.Errorf("%s: status %d: %.300s", path, status, body)
	}
	return bytes.Clone(body), err
}

// load is what clients got in a while.
type load struct {
	requests, bytes int64
	took            time.Duration
}

func (l load) perSecond() float64 { return float64(l.requests) / l.took.Seconds() }

func (l *load) add(o load) {
	l.requests, l.bytes, l.took = l.requests+o.requests, l.bytes+o.bytes, l.took+o.took
}

// measure lets clients ask for a while. An answer that comes after it counts too,
// and so does the time it took: what is slower than the while is not nothing.
func measure(ctx context.Context, at string, asked *asked, long time.Duration) (l load, err error) {
	var requests, size atomic.Int64
	var ready, begun sync.WaitGroup
	ready.Add(connections)
	begun.Add(1)
	var end time.Time
	g, ctx := errgroup.WithContext(ctx)
	for i := range connections {
		g.Go(func() error {
			c, err := dial(at)
			ready.Done()
			if err != nil {
				return err
			}
			defer c.Close()
			begun.Wait()
			ask := asked.client(i)
			for answer := []byte(nil); ctx.Err() == nil; {
				path := ask(answer)
				more := ""
				if asked.tags != nil {
					more = "If-None-Match: " + asked.tags[path] + "\r\n"
				}
				var status int
				if status, answer, err = c.get(path, more); err != nil {
					return err
				}
				if status != asked.status {
					return fmt.Errorf("%s: status %d: %.300s", path, status, answer)
				}
				requests.Add(1)
				size.Add(int64(len(answer)))
				if time.Now().After(end) {
					return nil
				}
			}
			return nil
		})
	}
	ready.Wait()
	start := time.Now()
	end = start.Add(long)
	begun.Done()
	err = g.Wait()
	return load{requests.Load(), size.Load(), time.Since(start)}, err
}
