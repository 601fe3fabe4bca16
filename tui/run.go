package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"sync"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"golang.org/x/term"

	"trunnion/tui/glyph"
	"trunnion/tui/internal/quiet"
	"trunnion/tui/screenout"
	"trunnion/tui/theme"
)

func init() { quiet.Restore() }

// Options of the console.
type Options struct {
	In, Out *os.File // the terminal
	Feed    *Feed
	Actions Actions
	// OnGone is called once, at once, from a goroutine, when the terminal has gone:
	// it hung up, or its input ended. It should make the rig safe. It may be nil.
	OnGone func()
	// Unattended says that the rig may move with nobody at the keys.
	Unattended bool
	Env        func(string) string // nil is os.Getenv
	Now        func() time.Time    // nil is time.Now
}

// ErrGone says that the terminal has gone.
var ErrGone = errors.New("the terminal has gone")

// ErrNoTerminal says that there is no terminal to begin with.
var ErrNoTerminal = errors.New("input and output are not a terminal; without one use \"trunnion run\"")

// Panic is a fault in the console itself. The rig was stopped when it happened.
type Panic struct {
	Value any
	Stack []byte
}

func (e *Panic) Error() string {
	return fmt.Sprintf("a fault in the console itself: %v; the rig was stopped", e.Value)
}

// closeTime bounds how long the terminal may keep the end waiting.
const closeTime = 300 * time.Millisecond

// Run shows the console until the person quits, the context ends or the terminal
// is gone, and gives the terminal back. It returns nil only if the person quit and
// the rig was parked; the context's cause when that ended it; ErrGone; a Panic. It
// does not handle signals other than those of the terminal's size: that is the
// caller's, and ends the context.
func Run(ctx context.Context, o Options) error {
	o = o.filled()
	if !term.IsTerminal(int(o.In.Fd())) || !term.IsTerminal(int(o.Out.Fd())) {
		return ErrNoTerminal
	}
	before, err := term.MakeRaw(int(o.In.Fd()))
	if err != nil {
		return fmt.Errorf("the terminal cannot be set up: %w", err)
	}
	defer func() { _ = term.Restore(int(o.In.Fd()), before) }()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	profile := theme.Detect(o.Env)
	file := screenout.Terminal(o.Out)
	if file != o.Out {
		defer func() { _ = file.Close() }()
	}
	output := screenout.New(file, theme.New(profile, theme.DetectGround(o.Env)), profile == theme.Bare, func() { screenout.Flush(o.Out) })
	root := newRoot(config{
		ctx: ctx, feed: o.Feed, actions: o.Actions, now: o.Now, glyphs: glyph.Detect(o.Env), redraw: output.Redraw, unattended: o.Unattended,
	})
	if w, h, err := term.GetSize(int(o.Out.Fd())); err == nil {
		root.resize(w, h)
	}
	gone := sync.OnceFunc(func() {
		cancel(ErrGone)
		if o.OnGone != nil {
			o.OnGone()
		}
	})
	loop := &program{root: root, show: output, cancel: cancel}
	p := tea.NewProgram(loop, tea.WithInput(newInput(o.In, o.Feed, root.stops, gone)),
		tea.WithOutput(io.Discard), tea.WithoutRenderer(), tea.WithoutSignalHandler())
	output.Start()
	guard(ctx, &o, p, output, gone)
	over := make(chan struct{})
	go endWith(ctx, p, over)
	_, err = p.Run()
	close(over)
	closed := output.Close(closeTime)
	return loop.verdict(ctx, err, closed)
}

// endTime is how long the event loop may take to end by itself.
const endTime = 500 * time.Millisecond

// endWith ends the program with the context. It quits rather than being killed
// where it can: a kill closes the input under the goroutine that reads it.
func endWith(ctx context.Context, p *tea.Program, over <-chan struct{}) {
	select {
	case <-over:
		return
	case <-ctx.Done():
	}
	go p.Quit()
	select {
	case <-over:
	case <-time.After(endTime):
		p.Kill()
	}
}

func (o Options) filled() Options {
	if o.Env == nil {
		o.Env = os.Getenv
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return o
}

// program is the root as Bubble Tea wants it. It hands frames to the output, and
// catches what goes wrong in the root.
type program struct {
	root   *root
	show   *screenout.Output
	cancel context.CancelCauseFunc
}

// Init implements tea.Model.
func (p *program) Init() tea.Cmd { return p.root.start() }

// Update implements tea.Model.
func (p *program) Update(msg tea.Msg) (model tea.Model, cmd tea.Cmd) {
	model = p // also after a panic
	defer p.caught()
	return p, p.root.update(msg)
}

// View implements tea.Model. The frame goes to the output, which takes it without
// waiting; Bubble Tea itself draws nothing.
func (p *program) View() string {
	defer p.caught()
	p.show.Show(p.root.frame())
	return ""
}

// caught stops the rig after a panic and ends the program with it.
func (p *program) caught() {
	if r := recover(); r != nil {
		p.cancel(&Panic{r, debug.Stack()})
		go func() { _ = p.root.stops.stop("a fault in the console itself") }()
	}
}

// verdict is why the program ended.
func (p *program) verdict(ctx context.Context, err, closed error) error {
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	if err != nil {
		return err
	}
	if p.root.quitErr != nil {
		return fmt.Errorf("parking was not answered: %w", p.root.quitErr)
	}
	return closed
}
