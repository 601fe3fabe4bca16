// Package linktest helps to test what speaks over a link.Conn.
//
// A Script plays a controller that has no rig: it answers as PROTOCOL.md wants,
// unless the test says otherwise for a frame, and sends samples that the test
// makes. Faulty spoils a connection, by seed: it drops, repeats, breaks, splits
// and delays frames. Record writes down what passes, in words.
//
// A Script's time is virtual and passes inside Read, so that a test that uses
// no goroutines runs the same each time, or real if asked for. It keeps to the
// rules about numbers, but to none about states: see link/virtual for that.
//
// All types may be used from several goroutines.
package linktest
