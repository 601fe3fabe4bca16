// Package conformance runs the scripts of fixtures/conformance against a bench
// controller: the behaviour that link/PROTOCOL.md asks of every controller,
// written down as requests and expected answers.
//
// [Run] plays one script over a link.Conn, so it serves any controller that can
// be reached through one: the software controller on virtual time, a firmware in
// a simulator, a board. What no line can do, such as turning a counter, a
// [Bench] does; [Stand] is the one for the software controller, a rig in which
// nothing turns but what the script turns. README.md beside the scripts
// describes their language.
//
// It is no test of the codec: that is what fixtures/vectors is for.
//
// A run belongs to one goroutine.
package conformance
