package tui

import (
	"bytes"
	"context"
	"os"
	"os/signal"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"golang.org/x/sys/unix"
	"golang.org/x/term"

	"trunnion/tui/feed"
	"trunnion/tui/screenout"
)

// input is the terminal's input on its way to the event loop. It notices the end,
// which the event loop passes over in silence, and the stop keys, so that they
// work whatever the event loop is doing and whatever it takes the bytes for.
type input struct {
	*os.File
	feed  *feed.Feed
	stops *stopper
	gone  func()
}

func newInput(f *os.File, feed *feed.Feed, s *stopper, gone func()) *input {
	return &input{f, feed, s, gone}
}

// Bytes that stop.
const (
	spaceByte = ' '
	nulByte   = 0x00 // control and space
	etxByte   = 0x03 // ctrl-c
)

// Read implements io.Reader.
func (i *input) Read(b []byte) (int, error) {
	n, err := i.File.Read(b)
	i.notice(b[:max(n, 0)])
	if err != nil {
		go i.gone()
	}
	return n, err
}

// notice stops the rig if one of the bytes says so: space always, ctrl-c while
// something moves.
func (i *input) notice(b []byte) {
	switch {
	case bytes.IndexByte(b, spaceByte) >= 0 || bytes.IndexByte(b, nulByte) >= 0:
		go func() { _ = i.stops.stop("space was pressed") }()
	case bytes.IndexByte(b, etxByte) >= 0 && i.feed.Moving():
		go func() { _ = i.stops.stop("ctrl-c was pressed") }()
	}
}

// guard starts what watches the terminal: its size, its being continued after a
// halt, its going, and its output.
func guard(ctx context.Context, o *Options, p *tea.Program, output *screenout.Output, gone func()) {
	changed, continued := make(chan os.Signal, 1), make(chan os.Signal, 1)
	signal.Notify(changed, unix.SIGWINCH)
	signal.Notify(continued, unix.SIGCONT)
	go func() {
		defer signal.Stop(changed)
		defer signal.Stop(continued)
		for {
			select {
			case <-ctx.Done():
				return
			case <-output.Fault():
				gone()
				return
			case <-continued:
				_, _ = term.MakeRaw(int(o.In.Fd()))
				output.Redraw()
			case <-changed:
			}
			if w, h, err := term.GetSize(int(o.Out.Fd())); err == nil {
				p.Send(tea.WindowSizeMsg{Width: w, Height: h})
			}
		}
	}()
	go watchHangup(ctx, gone, int32(o.In.Fd()), int32(o.Out.Fd()))
}

// hangupTime is how often the watch for a hangup looks whether it is still wanted.
const hangupTime = 200 * time.Millisecond

// watchHangup calls gone when a terminal hangs up. The kernel wakes it at once.
func watchHangup(ctx context.Context, gone func(), terminals ...int32) {
	var list []unix.PollFd
	for _, fd := range terminals {
		list = append(list, unix.PollFd{Fd: fd})
	}
	for ctx.Err() == nil {
		n, err := unix.Poll(list, int(hangupTime.Milliseconds()))
		if err != nil && err != unix.EINTR {
			return
		}
		for i := range list {
			if n > 0 && list[i].Revents&(unix.POLLHUP|unix.POLLERR|unix.POLLNVAL) != 0 {
				gone()
				return
			}
		}
	}
}
