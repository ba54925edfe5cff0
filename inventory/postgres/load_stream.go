package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
)

// copyStream is one long COPY into a table that rows are sent to as they come,
// so that the server writes while the next rows are being read. The connection
// can do nothing else meanwhile.
type copyStream struct {
	chunks chan []byte
	done   chan error
	free   chan []byte // chunks the server has taken, for reuse
}

func openStream(ctx context.Context, tx pgx.Tx, target string) *copyStream {
	s := &copyStream{chunks: make(chan []byte, 4), done: make(chan error, 1), free: make(chan []byte, 8)}
	go func() {
		_, err := tx.Conn().PgConn().CopyFrom(ctx, &chunkReader{ctx: ctx, chunks: s.chunks, free: s.free}, "COPY "+target+" FROM STDIN BINARY")
		s.done <- err
	}()
	return s
}

// buffer returns an empty chunk to fill.
func (s *copyStream) buffer() []byte {
	select {
	case b := <-s.free:
		return b[:0]
	default:
		return nil
	}
}

// send hands rows over; it fails with the server's error where the COPY has
// ended.
func (s *copyStream) send(ctx context.Context, chunk []byte) error {
	select {
	case s.chunks <- chunk:
		return nil
	case err := <-s.done:
		s.done <- err
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// end finishes the COPY and waits for the server's word.
func (s *copyStream) end() error {
	close(s.chunks)
	return <-s.done
}
