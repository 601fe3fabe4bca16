// Package screenout puts frames on a terminal. It never makes its caller wait,
// and sends only the cells that differ from what the terminal shows.
//
//	out := screenout.New(file, theme)
//	out.Start()
//	out.Show(frame)          // from one goroutine, as often as wanted
//	err := out.Close(limit)  // gives the terminal back
//
// A goroutine of its own does the writing and keeps only the newest frame, so
// that a terminal that stops reading (a stalled connection, a paused pager)
// holds up nothing: keys and stop go on, and when the terminal reads again it
// gets the newest frame at once and none of those in between.
//
// The program's event loop is Bubble Tea's, run without its renderer: that one
// waits inside the event loop for a write to end, and sends whole lines. Frames
// are cells until here, so nothing has to be parsed back out of a string.
//
// It is not a terminal library: it knows cursor placement, one erase, and the
// sequences that a theme hands it (ECMA-48), and the private modes of xterm for
// the second screen, the cursor and bracketed paste.
package screenout
