package linktest

import (
	"fmt"
	"io"
	"sync"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
)

// Record is a link.Conn that writes down what passes over another one: a line a
// frame, with the connection's time in seconds, ">" to the controller or "<"
// from it, and the message in words.
type Record struct {
	link.Conn

	mu       sync.Mutex
	w        io.Writer
	up, down wire.Decoder
}

// NewRecord records conn to w. Errors of w are ignored.
func NewRecord(conn link.Conn, w io.Writer) *Record { return &Record{Conn: conn, w: w} }

// Read implements link.Conn.
func (r *Record) Read(p []byte, wait time.Duration) (int, error) {
	n, err := r.Conn.Read(p, wait)
	r.note("<", &r.down, p[:max(n, 0)])
	return n, err
}

// Write implements link.Conn.
func (r *Record) Write(p []byte) error {
	r.note(">", &r.up, p)
	return r.Conn.Write(p)
}

func (r *Record) note(way string, d *wire.Decoder, p []byte) {
	if len(p) == 0 {
		return
	}
	now := r.Conn.Now().Seconds()
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, f := range d.Feed(p) {
		if f.Err != nil {
			fmt.Fprintf(r.w, "%.6f %s bad: %v\n", now, way, f.Err)
			continue
		}
		fmt.Fprintf(r.w, "%.6f %s %v\n", now, way, f.Frame)
	}
}
