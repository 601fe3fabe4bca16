// Package tui is the full-screen console.
//
//	feed := tui.NewFeed(described)           // before the session, which it listens to
//	err := tui.Run(ctx, tui.Options{In: os.Stdin, Out: os.Stdout, Feed: feed, Actions: session, OnGone: makeSafe})
//
// The session calls Feed.Event and the connection Feed.Sample, from their own
// goroutines; the screen looks at the feed thirty times a second. What the person
// asks for goes to Actions, each call in a goroutine of its own. Control and
// recording never wait for the screen, and nothing waits for the terminal.
//
// Stop does not depend on the event loop: the bytes of the stop keys are noticed
// where they are read, and stop the rig at once.
//
// The root model knows size, focus, question and session, and routes; the pages
// are screens (package screen) that draw what they are told. Keys are a table
// (package keys). Frames are cells (package canvas) until package screenout sends
// what differs.
//
// Linking this package does not touch the terminal; see internal/quiet.
package tui
