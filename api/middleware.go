package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"
)

// exchange is one request as the log tells it, and what is known of its
// answer.
type exchange struct {
	http.ResponseWriter
	status int
	bytes  int64
	cause  error // what went wrong
}

func (x *exchange) WriteHeader(status int) {
	if x.status == 0 && status >= 200 {
		x.status = status
	}
	x.ResponseWriter.WriteHeader(status)
}

func (x *exchange) Write(b []byte) (int, error) {
	if x.status == 0 {
		x.status = http.StatusOK
	}
	n, err := x.ResponseWriter.Write(b)
	x.bytes += int64(n)
	return n, err
}

// Unwrap lets http.ResponseController through.
func (x *exchange) Unwrap() http.ResponseWriter { return x.ResponseWriter }

type exchangeKey struct{}

// logged bounds a request's time and writes one line about it.
func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begun := time.Now()
		x := &exchange{ResponseWriter: w}
		ctx, cancel := context.WithTimeout(context.WithValue(r.Context(), exchangeKey{}, x), s.config.RequestTimeout)
		defer cancel()
		defer func() {
			level, args := slog.LevelInfo, []any{"method", r.Method, "path", r.URL.Path, "query", r.URL.RawQuery,
				"status", x.status, "bytes", x.bytes, "duration", time.Since(begun).Round(10 * time.Microsecond)}
			if x.cause != nil {
				args = append(args, "error", x.cause)
				if gone := errors.Is(x.cause, context.Canceled); !gone && (x.status >= 500 || x.status < 400) {
					level = slog.LevelError
				}
			}
			s.config.Log.Log(context.WithoutCancel(ctx), level, "request", args...)
		}()
		// A client that takes nothing must not hold a connection; writers push
		// this on as they get forward.
		http.NewResponseController(w).SetWriteDeadline(begun.Add(s.config.RequestTimeout + s.config.StallTimeout))
		if r.ContentLength != 0 {
			// Nor one that sends nothing of the body it has announced.
			http.NewResponseController(w).SetReadDeadline(begun.Add(s.config.StallTimeout))
		}
		next.ServeHTTP(x, r.WithContext(ctx))
	})
}

// answer runs a handler and answers its error. A failure after the first byte
// breaks the connection, so that no client takes a part for the whole.
func (s *Server) answer(h handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x := r.Context().Value(exchangeKey{}).(*exchange)
		err := guarded(h, w, r)
		if err == nil {
			return
		}
		x.cause = err
		if x.status != 0 {
			panic(http.ErrAbortHandler)
		}
		// The client is gone: there is nobody to answer.
		if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
			x.status = 499
			panic(http.ErrAbortHandler)
		}
		writeProblem(w, r, problemOf(err))
	})
}

// guarded turns a panic into an error with its stack.
func guarded(h handler, w http.ResponseWriter, r *http.Request) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
		}
	}()
	return h(w, r)
}
